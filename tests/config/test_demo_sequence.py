"""The demo firm's busiest week: each site is proved, or shows just the mistake that was planted there."""

import datetime as dt
import io

import pytest
from django.core.management import call_command
from django.db import transaction
from django.test import override_settings

from config.demo.schedules import let_programs_collide
from config.demo.sketches import PLANTED, Mistake
from scheduling.actions.schedules import compute_draft
from scheduling.queries.sequence import WeekTimeline, week_timeline
from sites.models import Site

pytestmark = pytest.mark.django_db

TODAY = dt.date(2026, 10, 14)
JULY = dt.date(2026, 7, 6)
SITES = 11  # all the named ones

# What the week of a site with a planted mistake must show; every other site must show nothing.
EXPECTED = {
    Mistake.PUMP_WITHOUT_OVERLAP: {"a path is open while the pump runs"},
    Mistake.COLLIDING_PROGRAMS: {"collision"},
    Mistake.SHORT_WINDOW: {"window"},
    Mistake.OVERLOADED_TRANSFORMER: {"transformer"},
    Mistake.DOUBLE_TERMINAL: {"terminal"},
    Mistake.DOUBTFUL_FIGURES: {"no more valves open than allowed"},
    Mistake.LEAK: set(),
    Mistake.MISSING_FIGURES: set(),
}
# Watering that a planted collision pushes out of the window is no mistake of its own.
FOLLOWS = {Mistake.COLLIDING_PROGRAMS: {"window"}}


@pytest.fixture(scope="module")
def weeks(django_db_setup, django_db_blocker, tmp_path_factory) -> dict[str, WeekTimeline]:
    """The first July week of every site, from a July draft."""
    fast = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    with (
        django_db_blocker.unblock(),
        override_settings(MEDIA_ROOT=tmp_path_factory.mktemp("media"), PASSWORD_HASHERS=fast),
        transaction.atomic(),
    ):
        call_command("demo", sites=SITES, today=TODAY, stdout=io.StringIO())
        found = {}
        for site in Site.objects.order_by("pk"):
            draft = compute_draft(site=site, today=JULY, by=None, month=7)
            if site.name == PLANTED[Mistake.COLLIDING_PROGRAMS]:
                let_programs_collide(draft)
            found[site.name] = week_timeline(draft, week_starts_on=JULY)
        transaction.set_rollback(True)
    return found


def told(week: WeekTimeline) -> set[str]:
    """The rule broken, up to its first comma, and the kinds of concern."""
    kinds = {concern.kind for one in week.controllers for concern in one.concerns}
    broken = {one.verdict.rule.value.split(",")[0] for one in week.controllers if one.ok is False}
    return kinds | broken


def test_every_controller_s_week_compiles_and_waters(weeks):
    assert len(weeks) == SITES
    for name, week in weeks.items():
        assert week.controllers, name
        assert all(one.runs for one in week.controllers), name


def test_each_site_is_proved_or_shows_the_mistake_that_was_planted(weeks):
    mistakes = {name: mistake for mistake, name in PLANTED.items()}
    for name, week in weeks.items():
        mistake = mistakes.get(name)
        wanted = EXPECTED[mistake] if mistake else set()
        assert told(week) - FOLLOWS.get(mistake, set()) == wanted, (name, told(week))


def test_the_planted_mistakes_come_with_a_moment_and_a_figure(weeks):
    pump = weeks[PLANTED[Mistake.PUMP_WITHOUT_OVERLAP]].controllers[0]
    assert any("against closed valves" in text for _, text in pump.story)
    words = {concern.kind: concern for week in weeks.values() for one in week.controllers for concern in one.concerns}
    assert "Program X waits" in words["collision"].words
    assert "outside the permitted time, until" in words["window"].words
    assert "rated 10 VA" in words["transformer"].words
    assert "both on terminal 3" in words["terminal"].words
    assert all(dt.date(2026, 7, 6) <= concern.at.date() <= dt.date(2026, 7, 13) for concern in words.values())
