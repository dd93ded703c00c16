"""Which measurement helps most."""

import pytest

from scheduling.core.water.derivation import CannotCompute, Known
from scheduling.core.water.sharpen import measurements_worth_taking, year_moves
from scheduling.core.water.zone_inputs import ZoneInputs
from tests.scheduling.core.water.climates import make_climate


def test_the_rate_of_a_rotor_zone_is_what_matters_most():
    """Own: 5 to 20 mm/h about the usual 12.5 leaves 12.5/5 - 12.5/20 = 187.5 % open."""
    found = measurements_worth_taking(ZoneInputs("cool_turf", "rotor", 47.0, area_m2=200.0), make_climate(), 2026)
    assert found[0].measurement == "application rate"
    assert found[0].spread_percent == pytest.approx(187.5)
    assert {each.measurement for each in found} == {
        "application rate",
        "distribution uniformity",
        "soil texture",
        "root depth",
        "allowed depletion",
    }
    spreads = [each.spread_percent for each in found]
    assert spreads == sorted(spreads, reverse=True)


def test_what_is_measured_is_not_asked_for_again():
    zone = ZoneInputs(
        "cool_turf",
        "rotor",
        47.0,
        area_m2=200.0,
        flow_l_min=Known(40.0, "measured"),
        du_lq=Known(0.7, "measured"),
        soil_texture="loam",
        root_depth_m=0.2,
        mad=0.5,
    )
    assert measurements_worth_taking(zone, make_climate(), 2026) == ()


def test_a_rate_and_uniformity_of_the_design_are_no_measurement():
    """Own arithmetic: run time goes with SM/rate, SM = 1/(0.4 + 0.6 DU); rate +-20 %, DU 0.65 +-0.1."""
    zone = ZoneInputs("cool_turf", "rotor", 47.0, application_rate_mm_h=12.0, du_lq=0.65, root_depth_m=0.2, mad=0.5)
    rate, uniformity, _ = measurements_worth_taking(zone, make_climate(), 2026)
    assert (rate.measurement, uniformity.measurement) == ("application rate", "distribution uniformity")
    assert rate.spread_percent == pytest.approx(100 * (1 / 0.8 - 1 / 1.2))
    assert uniformity.spread_percent == pytest.approx(100 * 0.79 * (1 / 0.73 - 1 / 0.85))


@pytest.mark.parametrize("du", [0.05, 0.98])
def test_a_figure_at_its_limit_is_moved_no_further(du):
    zone = ZoneInputs("cool_turf", "rotor", 47.0, application_rate_mm_h=0.11, du_lq=du)
    found = measurements_worth_taking(zone, make_climate(), 2026)
    assert "distribution uniformity" in {each.measurement for each in found}


def test_a_zone_that_cannot_be_computed_says_what_it_needs():
    assert isinstance(
        measurements_worth_taking(ZoneInputs("trees", "bubbler", 47.0), make_climate(), 2026), CannotCompute
    )


def test_a_fifth_more_plant_factor_takes_more_than_a_fifth_more_water():
    """Rain covers a part of the demand, so the rest grows faster: scaled by hand over the twelve months."""
    zone = ZoneInputs("shrubs", "rotor", 47.0, area_m2=50.0, soil_texture="loam", du_lq=0.7, root_depth_m=0.45)
    (move,) = year_moves(zone, make_climate(), 2026)
    assert move.assumed == "plant factor"
    assert move.higher_percent > 20
    assert move.lower_percent < -20


def test_nothing_hangs_on_assumptions_where_all_is_known_and_all_that_is_assumed_is_named():
    known = ZoneInputs(
        "shrubs", "rotor", 47.0, area_m2=50.0, soil_texture="loam", du_lq=0.7, root_depth_m=0.45, plant_factor=0.5
    )
    assert year_moves(known, make_climate(), 2026) == ()
    names = {move.assumed for move in year_moves(ZoneInputs("shrubs", "rotor", 47.0, 50.0), make_climate(), 2026)}
    assert names == {"plant factor", "distribution uniformity", "root depth"}
