"""Every site of the demo firm: its published and its drafted week is proved, or shows just what was planted there."""

import datetime as dt
from collections.abc import Iterator

import pytest
from django.db import transaction
from django.test import override_settings

from config.demo import people, register, stations
from config.demo.schedules import plant_into
from config.demo.sketches import PLANTED, Mistake
from scheduling.actions.schedules import compute_many, publish
from scheduling.core.sequence.simulate import play, simulate
from scheduling.models import SeasonSchedule
from scheduling.queries.sequence import week_timeline
from scheduling.queries.sequence_weeks import WeekTimeline
from sites.models import Site

pytestmark = pytest.mark.django_db

TODAY = dt.date(2026, 10, 14)
JULY = dt.date(2026, 7, 6)
SITES = 60  # what `make run` loads
STATES = ("published", "draft")

# What the week of a site with a planted mistake must show; every other site must show nothing.
EXPECTED = {
    Mistake.PUMP_WITHOUT_OVERLAP: {"a path is open while the pump runs"},
    Mistake.COLLIDING_PROGRAMS: {"collision"},
    Mistake.SHARED_PUMP: {"the pump rests between runs"},
    Mistake.SHORT_WINDOW: {"window"},
    Mistake.OVERLOADED_TRANSFORMER: {"transformer"},
    Mistake.DOUBLE_TERMINAL: {"terminal"},
    Mistake.DOUBTFUL_FIGURES: {"no more valves open than allowed"},
    Mistake.LEAK: set(),
    Mistake.MISSING_FIGURES: set(),
}
MISTAKES = {name: mistake for mistake, name in PLANTED.items()}
IN_WHAT_IS_PUBLISHED = {Mistake.COLLIDING_PROGRAMS, Mistake.SHARED_PUMP}
# Watering that a planted collision pushes out of the window is no mistake of its own.
FOLLOWS = {Mistake.COLLIDING_PROGRAMS: {"window"}}
DOES_NOT_FIT = "do not fit into the window"


@pytest.fixture(scope="module")
def weeks(django_db_setup, django_db_blocker) -> Iterator[dict[tuple[str, str], tuple[SeasonSchedule, WeekTimeline]]]:
    """The first July week of every site, as published by July's normals and as drafted by that week's weather."""
    fast = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    with django_db_blocker.unblock(), override_settings(PASSWORD_HASHERS=fast), transaction.atomic():
        _load_register()
        sites = list(Site.objects.order_by("pk"))
        for draft in compute_many(sites=sites, today=JULY, by=None, month=7):
            plant_into(draft)
            publish(schedule=draft, by=None, on=JULY, all_the_same=True)
        compute_many(sites=sites, today=JULY, by=None)
        yield {
            (row.site.name, row.state): (row, week_timeline(row, week_starts_on=JULY))
            for row in SeasonSchedule.objects.select_related("site").order_by("pk")
        }
        transaction.set_rollback(True)


def _load_register() -> None:
    """The demo's sites and weather without a season's visits, which the sequence does not read."""
    people.make_firm("metric")
    staff = people.make_staff(seed=1, sites=SITES, today=TODAY)
    register.make_register(
        sites=SITES,
        seed=1,
        today=TODAY,
        station=stations.make_stations(today=TODAY, by=staff.owner),
        tariffs=register.make_tariffs(),
        progress=lambda *_: None,
    )


def told(week: WeekTimeline) -> set[str]:
    """The rule broken, up to its first comma, and the kinds of concern."""
    kinds = {concern.kind for one in week.controllers for concern in one.concerns}
    broken = {
        one.broken.rule.value.split(",")[0] if one.broken else one.words
        for one in week.controllers
        if one.ok is False
    }
    return kinds | broken


def planted(name: str, state: str) -> set[str]:
    mistake = MISTAKES.get(name)
    if mistake is None or (mistake in IN_WHAT_IS_PUBLISHED and state == "draft"):
        return set()
    return EXPECTED[mistake]


def test_every_controller_s_week_compiles_and_waters(weeks):
    assert set(weeks) == {(name, state) for name, _ in weeks for state in STATES}
    assert len(weeks) == SITES * len(STATES)
    for key, (_, week) in weeks.items():
        assert week.controllers, key
        assert all(one.runs and one.ok is not None for one in week.controllers), key


def test_each_week_is_proved_or_shows_the_mistake_that_was_planted(weeks):
    surprises = {}
    for (name, state), (schedule, week) in weeks.items():
        forgiven = FOLLOWS.get(MISTAKES.get(name), set())
        if any(DOES_NOT_FIT in words for words in schedule.warnings):
            forgiven = forgiven | {"window"}  # the draft itself says by how much it does not fit
        if told(week) - forgiven != planted(name, state) - forgiven:
            surprises[name, state] = told(week)
    assert surprises == {}


def test_every_counter_example_is_real_when_it_is_played(weeks):
    """The delays of a refuted week, played by the simulator that knows nothing of the proof, break that rule."""
    refuted = [one for _, week in weeks.values() for one in week.controllers if one.ok is False and not one.clash]
    assert refuted
    for one in refuted:
        failures = simulate(one.timeline, one.plant, one.verdict.delays).failures
        assert one.verdict.rule in {failure.rule for failure in failures}


def test_every_clash_of_controllers_is_real_when_it_is_played(weeks):
    """Each of them is proved alone; played together with the delays that were found, they break the rule."""
    clashes = {
        (name, one.clash.rule): play(supply.parts, one.clash.delays)
        for (name, _), (_, week) in weeks.items()
        for supply in week.supplies
        for one in supply.controllers
        if one.clash is not None
    }
    assert {name for name, _ in clashes} == {PLANTED[Mistake.SHARED_PUMP]}
    for (_, rule), result in clashes.items():
        assert rule in {failure.rule for failure in result.failures}


def test_the_program_s_own_drafts_give_a_shared_pump_its_rest(weeks):
    shared = [
        supply
        for (_, state), (_, week) in weeks.items()
        for supply in week.supplies
        if state == "draft" and len([one for one in supply.controllers if one.pump_starts]) > 1
    ]
    assert shared
    for supply in shared:
        assert supply.ok
        assert {"the pump rests between runs"} <= {kept.rule for kept in supply.kept}


def test_only_a_few_weeks_outside_the_planted_ones_do_not_fit_their_window(weeks):
    forgiven = {
        name
        for (name, _), (schedule, week) in weeks.items()
        if name not in MISTAKES and "window" in told(week) and any(DOES_NOT_FIT in w for w in schedule.warnings)
    }
    assert forgiven <= {"Old Orchard Road sports ground"}


def test_the_planted_mistakes_come_with_a_moment_and_a_figure(weeks):
    pump = weeks[PLANTED[Mistake.PUMP_WITHOUT_OVERLAP], "published"][1].controllers[0]
    assert any("against closed valves" in text for _, text in pump.story)
    words = {
        concern.kind: concern
        for name in PLANTED.values()
        for one in weeks[name, "published"][1].controllers
        for concern in one.concerns
    }
    assert "Program X waits" in words["collision"].words
    assert "outside the permitted time, until" in words["window"].words
    assert "rated 10 VA" in words["transformer"].words
    assert "both on terminal 3" in words["terminal"].words
    assert all(JULY <= concern.at.date() <= JULY + dt.timedelta(days=7) for concern in words.values())
