import pytest

from jobs.core.routing.service_time import PastVisit, ServiceRate, service_time


@pytest.mark.parametrize(
    ("kind", "zones", "more", "minutes"),
    [
        # 5 access + 25 + 8 x 6.5 = 82; 5 + 15 + 8 x 4 = 52; 5 + 17.5 + 8 x 3.5 = 50.5: rounded up to five.
        ("startup", 8, {}, 85),
        ("midseason", 8, {}, 55),
        ("winterisation", 8, {}, 55),
        ("winterisation", 8, {"pumps": 1, "backflow_tests": 1}, 110),
    ],
)
def test_minutes_follow_kind_and_zones(kind, zones, more, minutes):
    assert service_time(kind, zones, **more).minutes == minutes


def test_own_history_replaces_the_usual_time_and_follows_added_zones():
    past = [PastVisit(500, 8)] + [PastVisit(m, 8) for m in (60, 70, 62, 64, 66)]
    told = service_time("midseason", 8, history=past)
    assert (told.minutes, told.source) == (65, "median of 5 earlier visits here")
    assert service_time("midseason", 10, history=past).minutes == 75  # 64 + 2 x 4 = 72


def test_the_firm_may_bring_its_own_rates():
    assert service_time("audit", 2, rates={"audit": ServiceRate(40, 10)}).minutes == 65
    with pytest.raises(KeyError):
        service_time("audit", 2)
    with pytest.raises(ValueError, match="negative"):
        service_time("startup", -1)
