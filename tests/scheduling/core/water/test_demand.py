"""Plant factors: published rows and the rules that keep a factor from being applied twice."""

import numpy as np
import pytest

from scheduling.core.water import demand
from scheduling.core.water.checks import WaterInputError


def test_landscape_coefficient_products():
    """Costello et al. 2000, KL = ks kd kmc, moderate shrubs dense on a hot court; low species, sparse."""
    assert float(demand.landscape_coefficient(0.5, 1.1, 1.2)) == pytest.approx(0.66, abs=0.001)
    assert float(demand.landscape_coefficient(0.2, 0.8, 1.0)) == pytest.approx(0.16, abs=0.001)


def test_turf_rows_have_the_means_of_the_publication():
    """Meyer, Gibeault, Youngner 1985, UC table: 0.788 and, January at 0.55, 0.646 (annual 0.80 and 0.60)."""
    assert demand.turf_kc("cool").mean() == pytest.approx(0.788, abs=0.001)
    assert demand.turf_kc("warm").mean() == pytest.approx(0.646, abs=0.001)


def test_southern_turf_peaks_half_a_year_later():
    north, south = demand.turf_kc("cool"), demand.turf_kc("cool", southern=True)
    assert south[9] == north[3] == 1.04
    assert demand.monthly_plant_factor("cool_turf", "sun", southern=True).tolist() == south.tolist()


def test_woody_plants_need_more_where_the_air_is_humid():
    """ANSI/ASABE S623.1 (2017), as in ASHS 2014 paper 18790: 0.5 in dry, 0.7 in humid climates."""
    assert demand.monthly_plant_factor("shrubs", "sun", southern=False).tolist() == [0.5] * 12
    assert demand.monthly_plant_factor("shrubs", "sun", southern=False, humid=True).tolist() == [0.7] * 12


def test_exposure_multiplies_and_orders_the_need():
    needs = [demand.monthly_plant_factor("shrubs", key, False)[6] for key in ("shade", "part_shade", "sun", "hot")]
    assert needs == sorted(needs)
    assert needs[3] == pytest.approx(0.5 * 1.25)


@pytest.mark.parametrize(("planting", "exposure"), [("moss", "sun"), ("shrubs", "moonlight")])
def test_unknown_keys_are_refused_by_name(planting, exposure):
    with pytest.raises(WaterInputError, match="unknown: 'mo"):
        demand.monthly_plant_factor(planting, exposure, southern=False)


def test_new_planting_needs_more_at_first_and_its_own_factor_in_the_end():
    share = demand.establishment_share("shrubs", [-10, 0, 365, 730, 5000])
    assert share.tolist() == [0, 1, 0.5, 0, 0]
    assert demand.establishing_factor("shrubs", 0.5, share) == pytest.approx([0.5, 0.8, 0.65, 0.5, 0.5])
    assert demand.establishing_factor("shrubs", 0.9, share) == pytest.approx([0.9] * 5)
    assert demand.establishing_root_depth(0.4, share) == pytest.approx([0.4, 0.2, 0.3, 0.4, 0.4])


def test_missing_numbers_are_refused():
    with pytest.raises(WaterInputError, match="reference ET: is missing"):
        demand.plant_demand([1.0, np.nan], 0.5)
