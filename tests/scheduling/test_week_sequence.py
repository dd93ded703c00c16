import datetime as dt
import re

import pytest
from django.urls import reverse

from scheduling.actions.pauses import pause
from scheduling.actions.schedules import compute_draft
from scheduling.queries.sequence import week_timeline
from tests import factories

MONDAY = dt.date(2015, 7, 13)


@pytest.fixture
def draft(seattle, site):
    return compute_draft(site=site, today=MONDAY, by=None, month=7)


def test_a_mains_site_s_week_is_proved_and_listed_in_local_time(draft):
    (week,) = week_timeline(draft, week_starts_on=MONDAY).controllers
    (program,) = draft.programs.all()
    assert week.ok
    assert week.words.startswith("Proved for every delay up to 2 s a command")
    assert {run.opens_at.weekday() for run in week.runs} == set(program.weekdays)
    assert {run.opens_at.time().replace(second=0) for run in week.runs[:1]} == {program.starts_at}
    assert len(week.runs) == 2 * len(program.weekdays)
    assert week.pump_starts == 0


def test_with_a_pump_the_proof_says_that_it_never_works_against_closed_valves(draft):
    supply = draft.site.supplies.get()
    supply.kind = "pump"
    supply.save()
    factories.PumpFactory(supply=supply)
    draft.site.controllers.update(one_valve_at_a_time=False)
    (week,) = week_timeline(draft, week_starts_on=MONDAY).controllers
    assert week.ok
    assert "the pump never works against closed valves" in week.words
    assert week.pump_starts > 0
    path = "a path is open while the pump runs, from before it starts until after it stops"
    (text,) = [kept.text for kept in week.kept if kept.rule == path]
    assert text.startswith("zone valve ")
    for kept in week.kept:  # a rule that is kept is not told in the words of a broken one
        assert not any(denied in kept.text for denied in ("no zone valve", "before it is surely", "may still be"))


def test_a_pump_on_interlocked_outputs_set_by_hand_may_run_dry_at_the_hand_over(draft):
    supply = draft.site.supplies.get()
    supply.kind = "pump"
    supply.save()
    factories.PumpFactory(supply=supply)
    (week,) = week_timeline(draft, week_starts_on=MONDAY).controllers
    assert week.ok is False
    assert week.words.startswith("Rule broken: a path is open while the pump runs")
    assert any("against closed valves" in text for _, text in week.story)
    assert "outputs separated" in week.remedy
    draft.site.controllers.update(set_by_hand=False)
    (sent,) = week_timeline(draft, week_starts_on=MONDAY).controllers
    assert sent.ok  # commands that we send stop the pump at each hand-over
    for valve in draft.site.controllers.get().valves.all():
        valve.closes_from_s, valve.opens_within_s = 8, 5
        valve.save()
    draft.site.controllers.update(set_by_hand=True)
    (slow,) = week_timeline(draft, week_starts_on=MONDAY).controllers
    assert slow.ok  # a valve known to close later than the next one opens needs no overlap


def test_the_only_supply_of_a_site_is_the_controller_s_even_where_it_names_none(draft):
    """Else a pump would be left out of the proof, while the drawings show it."""
    supply = draft.site.supplies.get()
    supply.kind = "pump"
    supply.save()
    factories.PumpFactory(supply=supply)
    draft.site.controllers.update(supply=None, one_valve_at_a_time=False)
    (week,) = week_timeline(draft, week_starts_on=MONDAY).controllers
    assert week.ok and week.pump_starts > 0
    factories.WaterSupplyFactory(site=draft.site, kind="mains")
    (doubtful,) = week_timeline(draft, week_starts_on=MONDAY).controllers
    assert doubtful.ok is False
    assert "names no water supply, and one of the site's is a pump" in doubtful.words
    supply.kind = "well"
    supply.save()
    (without,) = week_timeline(draft, week_starts_on=MONDAY).controllers
    assert without.ok and without.pump_starts == 0


def test_the_proof_says_how_many_valves_may_water_together(draft):
    draft.site.controllers.update(one_valve_at_a_time=False, most_valves_open=2)
    (week,) = week_timeline(draft, week_starts_on=MONDAY).controllers
    assert "no more than 2 valves water together beyond the hand-over" in week.words


def test_two_valves_on_one_terminal_and_a_small_transformer_are_told_with_their_moment(draft):
    controller = draft.site.controllers.get()
    controller.transformer_va = 5
    controller.save()
    controller.valves.update(terminal=1, coil_holding_va=6)
    (week,) = week_timeline(draft, week_starts_on=MONDAY).controllers
    found = {concern.kind: concern for concern in week.concerns}
    assert set(found) == {"transformer", "terminal"}
    # Both coils hold and start together: 2 x 6 VA x 1.7.
    assert "need 20.4 VA while the last one starts, it is rated 5 VA" in found["transformer"].words
    assert "both on terminal 1" in found["terminal"].words
    assert found["terminal"].at == week.runs[0].opens_at
    assert not week.sound


def test_a_second_program_that_starts_into_the_first_is_a_collision_with_its_wait(draft):
    first = draft.programs.get()
    start = (dt.datetime.combine(MONDAY, first.starts_at) + dt.timedelta(minutes=5)).time()
    extra = draft.programs.create(
        controller=first.controller, name="Extra", priority=9, starts_at=start, weekdays=first.weekdays
    )
    extra.steps.create(zone=draft.site.zones.get(number=1), position=1, run_time_min=10)
    (week,) = week_timeline(draft, week_starts_on=MONDAY).controllers
    (collision,) = [concern for concern in week.concerns if concern.kind == "collision"]
    assert collision.words.startswith("Extra waits")


@pytest.mark.parametrize(
    ("rule", "days"),
    [
        ({"day_rule": "interval", "every_n_days": 3, "counted_from": MONDAY}, [13, 16, 19]),
        ({"day_rule": "odd"}, [13, 15, 17, 19]),
        ({"day_rule": "even"}, [14, 16, 18]),
        ({"weekdays": [0, 1, 2, 3, 4, 5, 6], "active_from": dt.date(2015, 7, 18)}, [18, 19]),
        ({"weekdays": [0, 1, 2, 3, 4, 5, 6], "active_until": dt.date(2015, 7, 14)}, [13, 14]),
        ({"enabled": False}, []),
    ],
)
def test_a_program_s_own_days_are_kept(draft, rule, days):
    program = draft.programs.get()
    for name, value in rule.items():
        setattr(program, name, value)
    program.save()
    (week,) = week_timeline(draft, week_starts_on=MONDAY).controllers
    assert sorted({run.opens_at.day for run in week.runs}) == days


def test_a_second_start_time_waters_again(draft):
    program = draft.programs.get()
    program.starts_at, program.further_starts, program.weekdays = dt.time(5), ["07:00"], [0]
    program.save()
    (week,) = week_timeline(draft, week_starts_on=MONDAY).controllers
    zones = draft.site.zones.count()
    assert len(week.runs) == 2 * zones
    assert [run.opens_at.hour for run in week.runs][::zones] == [5, 7]


def test_a_valve_too_slow_for_the_hand_over_gives_a_counter_example_in_words(draft):
    for valve in draft.site.controllers.get().valves.all():
        valve.closes_within_s = 80
        valve.save()
    found = week_timeline(draft, week_starts_on=MONDAY)
    (week,) = found.controllers
    assert not found.ok
    assert week.words.startswith("Rule broken: a hand-over ends in time.")
    assert week.story


def test_a_zone_that_takes_more_than_the_supply_gives_is_not_proved(draft):
    draft.site.supplies.update(flow_available_l_min=10)
    (week,) = week_timeline(draft, week_starts_on=MONDAY).controllers
    assert week.ok is False
    assert "more water than the supply feeds: 20.0 L/min of 10.0 L/min" in week.words


def test_nothing_runs_in_a_paused_week(draft, office):
    pause(sites=[draft.site], starts_on=MONDAY, ends_on=MONDAY + dt.timedelta(days=6), reason="rain", by=office)
    (week,) = week_timeline(draft, week_starts_on=MONDAY).controllers
    assert (week.ok, week.words) == (None, "Nothing runs in this week.")


def test_odd_dates_run_on_odd_dates_only(seattle, site):
    site.permitted_days = "odd"
    site.save()
    draft = compute_draft(site=site, today=MONDAY, by=None, month=7)
    (week,) = week_timeline(draft, week_starts_on=MONDAY).controllers
    assert sorted({run.opens_at.day for run in week.runs}) == [13, 15, 17, 19]


def test_three_mornings_at_five_with_a_second_program_for_the_thirsty_can_be_expressed(draft):
    """The usual summer habit: common practice, no source."""
    program = draft.programs.get()
    program.starts_at, program.weekdays = dt.time(5), [0, 2, 4]
    program.save()
    program.steps.update(run_time_min=12)
    thirsty = draft.programs.create(
        controller=program.controller, name="Thirsty", priority=2, starts_at=dt.time(5), weekdays=[1, 5]
    )
    thirsty.steps.create(zone=draft.site.zones.get(number=1), position=1, run_time_min=10)
    (week,) = week_timeline(draft, week_starts_on=MONDAY).controllers
    assert week.ok
    days = [(run.opens_at.strftime("%a"), run.program) for run in week.runs]
    assert days == [
        ("Mon", "Program A"),
        ("Mon", "Program A"),
        ("Tue", "Thirsty"),
        ("Wed", "Program A"),
        ("Wed", "Program A"),
        ("Fri", "Program A"),
        ("Fri", "Program A"),
        ("Sat", "Thirsty"),
    ]


@pytest.mark.parametrize(("units", "takes"), [("metric", "80.0 L/min of 60.0 L/min"), ("us", "21.1 gpm of 15.9 gpm")])
def test_a_zone_thirstier_than_its_supply_is_told_in_the_firm_s_units(draft, firm, units, takes):
    firm.units = units
    firm.save()
    draft.site.zones.filter(number=1).update(flow_l_min=80)
    (week,) = week_timeline(draft, week_starts_on=MONDAY).controllers
    told = f"Valve 1 takes more water than the supply feeds: {takes}"
    assert told in week.words
    assert told in week.notices


def test_two_valves_on_one_terminal_are_told_in_the_firm_s_units(draft, firm):
    firm.units = "us"
    firm.save()
    draft.site.controllers.get().valves.update(terminal=1)
    (week,) = week_timeline(draft, week_starts_on=MONDAY).controllers
    assert any("take 10.6 gpm together" in concern.words for concern in week.concerns)  # 40 L/min


@pytest.fixture
def beside(draft):
    """A program on a second controller of the same supply, with one zone of 45 L/min, at the time of the first."""
    first = draft.programs.get()
    second = factories.ControllerFactory(
        site=draft.site, supply=draft.site.supplies.get(), name="Second", one_valve_at_a_time=False
    )
    valve = factories.ValveFactory(controller=second, terminal=1)
    zone = factories.ZoneFactory(site=draft.site, valve=valve, number=9, flow_l_min=45)
    draft.site.controllers.update(one_valve_at_a_time=False)
    program = draft.programs.create(
        controller=second, name="Beside", priority=1, starts_at=first.starts_at, weekdays=first.weekdays
    )
    program.steps.create(zone=zone, position=1, run_time_min=10)
    return program


def shared_week(draft):
    (supply,) = week_timeline(draft, week_starts_on=MONDAY).supplies
    return supply


def test_two_controllers_on_one_supply_are_proved_together(draft, beside):
    supply = shared_week(draft)
    assert len(supply.controllers) == 2 and not supply.ok
    for week in supply.controllers:
        assert week.ok is False and week.verdict.ok  # alone each is proved
        assert week.words.startswith("Rule broken: a hand-over ends in time.")
        assert "65.0 L/min of 60.0 L/min" in week.words
        assert "Each is proved alone, not together" in week.words
        assert week.story
    beside.steps.get().zone.__class__.objects.filter(number=9).update(flow_l_min=40)
    assert shared_week(draft).sound


def test_the_page_tells_a_remedy_and_the_end_of_a_breach_once(as_office, draft, beside):
    site = draft.site
    site.watering_window_start, site.watering_window_end = dt.time(2), dt.time(2, 5)
    site.save()
    page = as_office.get(reverse("scheduling:sequence", args=[draft.pk])).content.decode()
    assert page.count("Start one of them later") == 1
    told = re.findall(r"Beside of \w{3} \d+ \w{3} waters \d+ min outside the permitted time, until ([^<]*)<", page)
    assert told and all(re.fullmatch(r"\d\d:\d\d on \w{3} \d+ \w{3}", until.strip()) for until in told)
    assert not re.search(r">[^<]*\d{4}-\d\d-\d\d", page)


def test_whether_a_supply_feeds_two_controllers_is_told_where_a_flow_is_missing(draft, beside):
    draft.site.zones.filter(number=9).update(flow_l_min=None)
    told = [concern for week in shared_week(draft).controllers for concern in week.concerns]
    assert len(told) == 2
    assert "whether it feeds both is not known" in told[0].words
    assert shared_week(draft).ok  # nothing is refuted, and nothing green stands there
    assert {week.tag.kind for week in shared_week(draft).controllers} == {"warn"}


@pytest.mark.parametrize(("gap_min", "rests"), [(1, False), (12, True)])
def test_the_pump_s_rest_counts_over_all_its_controllers(draft, beside, gap_min, rests):
    draft.site.supplies.update(kind="pump")
    factories.PumpFactory(supply=draft.site.supplies.get(), minimum_rest_s=600)
    draft.site.zones.filter(number=9).update(flow_l_min=20)
    first = next(week for week in shared_week(draft).controllers if week.controller.pk != beside.controller_id)
    ends = max(run.closes_at for run in first.runs if run.opens_at.date() == first.runs[0].opens_at.date())
    beside.starts_at = (ends + dt.timedelta(minutes=gap_min)).time().replace(second=0, microsecond=0)
    beside.save()
    supply = shared_week(draft)
    assert supply.ok is rests
    if rests:
        (kept,) = [kept for kept in supply.kept if kept.rule == "the pump rests between runs"]
        assert 0 <= kept.margin_s < 180
        return
    for week in supply.controllers:
        assert week.words.startswith("Rule broken: the pump rests between runs. The pump may rest for only")
        assert any("start pump" in text for _, text in week.story)


@pytest.mark.parametrize(("rest_s", "starts"), [(60, 6), (600, 6), (1800, 2), (60, 1)])
def test_a_draft_of_the_program_gives_a_shared_pump_its_rest_and_its_starts(seattle, site, rest_s, starts):
    """Nobody has to move a start by hand: the draft itself is proved over all controllers of the pump."""
    supply = site.supplies.get()
    supply.kind = "pump"
    supply.save()
    factories.PumpFactory(supply=supply, minimum_rest_s=rest_s, most_starts_per_hour=starts)
    second = factories.ControllerFactory(site=site, supply=supply, name="Second", one_valve_at_a_time=False)
    for number in (7, 8):
        valve = factories.ValveFactory(controller=second, terminal=number)
        factories.ZoneFactory(site=site, valve=valve, number=number, flow_l_min=20)
    site.controllers.update(one_valve_at_a_time=False)
    draft = compute_draft(site=site, today=MONDAY, by=None, month=7)
    shared = shared_week(draft)
    assert len([week for week in shared.controllers if week.pump_starts]) == 2
    assert shared.ok, shared.controllers[0].words
    (kept,) = [kept for kept in shared.kept if kept.rule == "the pump rests between runs"]
    assert 0 <= kept.margin_s < 3600
    assert not any("do not fit into the window" in words for words in draft.warnings)


def test_a_draft_says_where_a_pump_s_rest_does_not_fit_into_the_window(seattle, site):
    supply = site.supplies.get()
    supply.kind = "pump"
    supply.save()
    factories.PumpFactory(supply=supply, minimum_rest_s=3600)
    second = factories.ControllerFactory(site=site, supply=supply, name="Second", one_valve_at_a_time=False)
    valve = factories.ValveFactory(controller=second, terminal=1)
    factories.ZoneFactory(site=site, valve=valve, number=7, flow_l_min=20)
    site.controllers.update(one_valve_at_a_time=False)
    site.watering_window_start, site.watering_window_end = dt.time(2), dt.time(6)
    site.save()
    draft = compute_draft(site=site, today=MONDAY, by=None, month=7)
    assert shared_week(draft).ok
    told = [words for words in draft.warnings if "do not fit into the window" in words]
    assert any(words.startswith("Second: with what its supply needs between two controllers") for words in told), told


def test_a_controller_that_cannot_be_compiled_leaves_its_neighbour_unproved(draft, beside):
    beside.controller.__class__.objects.filter(pk=beside.controller_id).update(command_delay_bound_s=4000)
    found = {week.controller.name: week for week in shared_week(draft).controllers}
    assert found["Second"].ok is False
    (other,) = [week for name, week in found.items() if name != "Second"]
    assert "whose programs cannot be compiled" in other.concerns[0].words and not other.sound


@pytest.mark.parametrize("weekday", range(7))
def test_a_week_reads_the_same_from_each_of_its_days(draft, weekday):
    """Sunday 23:00 for five hours, and Monday 02:00: the second waits for two hours, whatever day it is read on."""
    program = draft.programs.get()
    draft.site.controllers.update(one_valve_at_a_time=False)
    program.starts_at, program.weekdays = dt.time(23), [6]
    program.save()
    program.steps.update(run_time_min=150, cycles=1, soak_min=0)
    early = draft.programs.create(
        controller=program.controller, name="Early", priority=2, starts_at=dt.time(2), weekdays=[0]
    )
    early.steps.create(zone=draft.site.zones.get(number=1), position=1, run_time_min=10)
    (week,) = week_timeline(draft, week_starts_on=MONDAY + dt.timedelta(days=weekday)).controllers
    (collision,) = [concern for concern in week.concerns if concern.kind == "collision"]
    assert collision.words == "Early waits 120 min for another program"
    assert collision.at.weekday() == 0 and collision.at.hour == 2
    assert sorted((run.program, run.opens_at.strftime("%a %H")) for run in week.runs) == [
        ("Early", "Mon 03"),  # seconds before four: it opens while the last zone shuts
        ("Program A", "Mon 01"),
        ("Program A", "Sun 23"),
    ]


def test_steps_that_cannot_run_are_told_beside_the_proof(draft):
    lost, short = draft.programs.get().steps.order_by("position")
    lost.zone.valve = None
    lost.zone.save()
    (week,) = week_timeline(draft, week_starts_on=MONDAY).controllers
    (concern,) = week.concerns
    assert (week.ok, week.sound, concern.kind) == (True, False, "left out")
    assert f"zone {lost.zone} of Program A" in concern.words
    short.run_time_min, short.cycles, short.soak_min = 0.5, 1, 0
    short.save()
    lost.delete()
    (week,) = week_timeline(draft, week_starts_on=MONDAY).controllers
    (concern,) = week.concerns
    assert (week.ok, week.sound, concern.kind) == (None, False, "left out")
    assert "would run 30 s, this plant needs" in concern.words


@pytest.mark.parametrize("seconds", [1e308, 3601])
def test_a_delay_that_no_plant_has_is_told_and_breaks_no_page(draft, seconds):
    draft.site.controllers.update(command_delay_bound_s=seconds)
    (week,) = week_timeline(draft, week_starts_on=MONDAY).controllers
    assert week.ok is False
    assert "command delay bound: " in week.words
