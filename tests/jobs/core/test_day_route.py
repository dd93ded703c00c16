import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.core.routing.day import Shift, Stop
from jobs.core.routing.day_route import plan_day, schedule_in_order
from jobs.core.routing.travel import GreatCircle, Point
from jobs.core.routing.validate import day_faults

YARD = Point(47.60, -122.30)
HOME = Point(47.66, -122.38)


def random_day(seed, count, *, lunch=30, tight=True, pins=0):
    rng = random.Random(seed)
    stops = []
    for i in range(count):
        opens = rng.choice([480, 480, 540, 600, 720, 780]) if tight else 480
        closes = min(1020, opens + rng.choice([150, 240, 360])) if tight else 1020
        pin = rng.choice([540, 600, 660, 780, 840, 900]) if i < pins else None
        where = (47.6 + rng.uniform(-0.18, 0.18), -122.3 + rng.uniform(-0.25, 0.25))
        stops.append(Stop(f"s{i}", *where, rng.randrange(15, 50, 5), opens, closes, pin))
    shift = Shift(480, 1020, YARD, HOME if rng.random() < 0.5 else YARD, lunch)
    return stops, shift, travel_for(stops, shift)


def travel_for(stops, shift):
    points = dict.fromkeys([shift.start_point, shift.end_point, *(s.point for s in stops)])
    return GreatCircle().matrix(list(points))


def best_by_enumeration(stops, shift, travel):
    """Every order of every subset with every place for lunch: (weight served, cost, finish), best first."""
    at, seconds = travel.position, travel.seconds
    opens, latest = shift.lunch_window[0] * 60, (shift.lunch_window[1] - shift.lunch_min) * 60
    found = []

    def eat(time):
        return max(time, opens) + shift.lunch_min * 60 if time <= latest else None

    def go(now, here, left, eaten, drive, weight):
        leg = int(seconds[here, at[shift.end_point]])
        if eaten or now + leg <= latest:
            ends = [now + leg]
        else:
            ends = [eat(now) + leg] if eat(now) is not None else []
        found.extend((-weight, drive + leg + end // 4, end) for end in ends if end <= shift.end_min * 60)
        for stop in left:
            leg = int(seconds[here, at[stop.point]])
            ready = [(now + leg, eaten)]
            if not eaten and eat(now) is not None:
                ready.append((eat(now) + leg, True))
            if not eaten and eat(now + leg) is not None:
                ready.append((eat(now + leg), True))
            for time, fed in ready:
                start = max(time, stop.opens_min * 60)
                if stop.pinned_arrival_min is not None:
                    start = stop.pinned_arrival_min * 60
                end = start + stop.service_min * 60
                pinned = stop.pinned_arrival_min is not None
                if start >= time and (pinned or end <= stop.closes_min * 60):
                    rest = [s for s in left if s is not stop]
                    more = (len(stops) + 1) ** max(stop.priority, int(pinned))
                    go(end, at[stop.point], rest, fed, drive + leg, weight + more)

    go(shift.start_min * 60, at[shift.start_point], stops, not shift.lunch_min, 0, 0)
    return min(found)


def value_of(route, stops):
    base = len(stops) + 1
    by_key = {s.key: s for s in stops}
    served = [by_key[k] for k in route.keys]
    weight = sum(base ** max(s.priority, int(s.pinned_arrival_min is not None)) for s in served)
    return -weight, route.drive_s + route.finish_s // 4, route.finish_s


@pytest.mark.parametrize("seed", range(24))
def test_a_small_day_equals_the_enumeration_of_all_orders(seed):
    day = random_day(seed, count=3 + seed % 4, lunch=(0, 30, 45)[seed % 3], tight=seed % 4 != 1, pins=seed % 3)
    route = plan_day(*day)
    assert value_of(route, day[0]) == best_by_enumeration(*day)
    assert route.proven_optimal
    assert day_faults(route, *day) == ()


def test_seven_stops_equal_the_enumeration_of_all_orders():
    day = random_day(7, count=7, lunch=0)
    assert value_of(plan_day(*day), day[0]) == best_by_enumeration(*day)


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(100, 120))
def test_the_search_is_within_one_percent_of_exact_on_nine_stop_days(seed):
    stops, shift, travel = random_day(seed, count=9, tight=seed % 3 != 0, pins=seed % 2)
    exact = plan_day(stops, shift, travel)
    searched = plan_day(stops, shift, travel, exact_up_to=0, iterations=400)
    assert (exact.method, searched.method) == ("exact", "search")
    assert not searched.proven_optimal
    assert day_faults(searched, stops, shift, travel) == ()
    assert value_of(searched, stops)[0] == value_of(exact, stops)[0]
    over_s = value_of(searched, stops)[1] - value_of(exact, stops)[1]
    assert 0 <= over_s <= 0.01 * exact.drive_s


days = st.builds(
    random_day,
    st.integers(0, 10**6),
    st.integers(0, 14),
    lunch=st.sampled_from([0, 30, 60]),
    tight=st.booleans(),
    pins=st.integers(0, 4),
)


@given(days)
def test_no_route_breaks_a_window_the_shift_lunch_or_a_pin_and_the_same_seed_gives_the_same_route(day):
    first = plan_day(*day, exact_up_to=6, iterations=40, seed=3)
    assert day_faults(first, *day) == ()
    assert plan_day(*day, exact_up_to=6, iterations=40, seed=3) == first


@given(days, st.integers(0, 10**6))
def test_times_of_a_given_order_are_right_and_slack_is_just_what_can_be_lost(day, seed):
    planned = plan_day(*day, exact_up_to=7, iterations=20)
    by_key = {s.key: s for s in day[0]}
    order = [by_key[k] for k in planned.keys]
    route = schedule_in_order(order, *day[1:])
    assert (route.keys, route.finish_s, route.broken) == (planned.keys, planned.finish_s, ())
    assert all(p.slack_s >= 0 for p in route.stops)
    random.Random(seed).shuffle(order)
    shuffled = schedule_in_order(order, *day[1:])
    faults = day_faults(shuffled, order, *day[1:])
    assert bool(faults) == bool(shuffled.broken)


def test_a_late_close_bounds_the_end_of_service_not_its_start():
    stop = Stop("a", 47.7, -122.3, 60, opens_min=480, closes_min=600)
    shift = Shift(480, 1020, YARD, YARD)
    route = plan_day([stop], shift, travel_for([stop], shift))
    assert route.stops[0].departure_min <= 600
    longer = Stop("a", 47.7, -122.3, 110, opens_min=480, closes_min=600)
    refused = plan_day([longer], shift, travel_for([longer], shift))
    assert refused.keys == ()
    assert refused.unplaced[0].reason.startswith("even alone it can't be served in time: must be finished by 10:00")


def test_slack_says_how_much_later_service_could_start():
    # By hand: the second must start by 10:00, the drive between takes d, the first lasts 30 min.
    first, second = Stop("a", 47.6, -122.3, 30, 480, 1020), Stop("b", 47.65, -122.3, 30, 480, 630)
    shift = Shift(480, 1020, YARD, YARD)
    travel = travel_for([first, second], shift)
    route = schedule_in_order([first, second], shift, travel)
    drive = int(travel.between([first.point, second.point]).seconds[0, 1])
    assert route.stops[1].slack_s == 600 * 60 - (480 * 60 + 30 * 60 + drive)
    assert route.stops[0].slack_s == route.stops[1].slack_s


def test_a_manual_order_that_breaks_rules_says_which_and_by_how_much():
    early, pinned = Stop("early", 47.7, -122.3, 30, 480, 540), Stop("pinned", 47.6, -122.3, 30, 0, 1440, 600)
    shift = Shift(480, 640, YARD, YARD)
    route = schedule_in_order([pinned, early], shift, travel_for([early, pinned], shift))
    assert [(b.rule, b.key) for b in route.broken] == [("opening", "early"), ("shift", "")]
    start = route.stops[1].start_s
    assert route.broken[0].late_s == start + 1800 - 540 * 60
    assert route.broken[0].text.startswith("must be finished by 09:00, would end at 11:")
    late = schedule_in_order([early, pinned], Shift(600, 1020, YARD, YARD), travel_for([early, pinned], shift))
    assert [b.rule for b in late.broken] == ["opening", "pin"]


def test_lunch_lies_at_a_visit_boundary_inside_its_window():
    stops, shift, travel = random_day(5, 8, lunch=45, tight=False)
    route = plan_day(stops, shift, travel)
    assert shift.lunch_window[0] * 60 <= route.lunch.start_s
    assert route.lunch.end_s <= shift.lunch_window[1] * 60
    before, after = route.stops[route.lunch.after - 1], route.stops[route.lunch.after]
    assert before.departure_s <= route.lunch.start_s < route.lunch.end_s <= after.start_s


def test_no_lunch_is_due_on_a_morning_or_an_afternoon():
    stop = Stop("a", 47.62, -122.3, 60)
    travel = travel_for([stop], Shift(480, 1020, YARD, YARD))
    assert plan_day([stop], Shift(480, 1020, YARD, YARD, 30), travel).lunch is None
    assert plan_day([stop], Shift(850, 1020, YARD, YARD, 30), travel).lunch is None


def test_a_day_without_stops_and_a_stop_listed_twice():
    shift = Shift(480, 1020, YARD, YARD)
    empty = plan_day([], shift, travel_for([], shift))
    assert (empty.keys, empty.drive_s, empty.lunch) == ((), 0, None)
    stop = Stop("a", 47.62, -122.3, 60)
    with pytest.raises(ValueError, match="twice"):
        plan_day([stop, stop], shift, travel_for([stop], shift))


def test_nobody_waits_for_hours_to_save_minutes_on_the_road():
    """A promise at ten beside the yard: both others before it is too long, both after it is the shortest round."""
    yard = Point(47.60, -122.30)
    shift = Shift(450, 990, yard, yard, 30)
    pinned = Stop("pinned", 47.605, -122.30, 45, pinned_arrival_min=600)
    stops = [pinned, Stop("a", 47.615, -122.30, 75), Stop("b", 47.615, -122.295, 75)]
    travel = travel_for(stops, shift)
    lazy = schedule_in_order(stops, shift, travel)
    for exact_up_to in (10, 0):
        route = plan_day(stops, shift, travel, exact_up_to=exact_up_to, iterations=200)
        assert route.keys[1] == "pinned"
        assert lazy.drive_s < route.drive_s < lazy.drive_s + 600
        assert route.finish_s < lazy.finish_s - 3600


def test_a_promise_and_a_high_priority_stay_when_not_all_fits():
    stops = [Stop(f"s{i}", 47.61 + i / 1000, -122.3, 60) for i in range(6)]
    stops[4] = Stop("s4", 47.7, -122.3, 60, priority=2)
    stops[5] = Stop("s5", 47.68, -122.35, 60, pinned_arrival_min=600)
    shift = Shift(480, 780, YARD, YARD)
    travel = travel_for(stops, shift)
    for exact_up_to in (10, 0):
        route = plan_day(stops, shift, travel, exact_up_to=exact_up_to, iterations=200)
        assert {"s4", "s5"} <= set(route.keys)
        assert {u.reason for u in route.unplaced} == {"no room beside the other stops"}
