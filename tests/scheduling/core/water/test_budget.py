"""Allowances, tariffs and years against the published formulas and worked numbers."""

import pytest

from scheduling.core.water import budget as b
from scheduling.core.water.checks import WaterInputError

FOUR = (
    b.Hydrozone("high, spray", 7_000, 0.8, 0.75),
    b.Hydrozone("moderate, drip", 16_000, 0.5, 0.81),
    b.Hydrozone("low, drip", 17_000, 0.3, 0.81),
    b.Hydrozone("lower, drip", 10_000, 0.2, 0.81),
)


def test_allowance_of_a_home():
    """California Code of Regulations, Title 23, s. 492.4, formula; 51.1 in a year on 50,000 ft2."""
    assert b.maximum_applied_water_gal(51.1, 50_000) == pytest.approx(871_255, abs=1)


def test_allowance_with_special_landscape_area():
    """2,000 of the 50,000 ft2."""
    assert b.maximum_applied_water_gal(51.1, 50_000, 2_000) == pytest.approx(899_769, abs=1)


def test_allowance_of_other_uses_and_of_the_2009_form():
    """example of the 2009 ordinance (ETAF 0.7), 1,108,870 gal; non-residential 712,845."""
    assert b.maximum_applied_water_gal(51.1, 50_000, etaf=b.ETAF["2009"]) == pytest.approx(1_108_870, abs=1)
    assert b.maximum_applied_water_gal(51.1, 50_000, etaf=b.ETAF["non_residential"]) == pytest.approx(712_845, abs=1)


def test_estimated_use_complies():
    """California Code of Regulations, Title 23, App. B, worked example, 827,174 gal, average ETAF 0.522."""
    result = b.ordinance_budget(51.1, FOUR)
    assert result.etwu_gal == pytest.approx(827_174, abs=1)
    assert result.mawa_gal == pytest.approx(871_255, abs=1)
    assert result.average_etaf == pytest.approx(0.522, abs=0.0005)
    assert result.complies


def test_rain_may_be_credited_at_a_quarter():
    assert b.net_annual_et_in(51.1, 12.0) == pytest.approx(48.1)


def test_peak_month_budget():
    """US EPA water budget tool 1.02 (constants from memory): LWA 16,580, LWR 14,917 gal."""
    zones = (
        b.PeakZone("turf", 2_000, 0.7, 0.65),
        b.PeakZone("low shrubs", 2_000, 0.2, 0.70),
        b.PeakZone("medium shrubs", 1_000, 0.5, 0.70),
    )
    allowance = b.landscape_allowance_gal(7.6, 5_000)
    requirement = b.landscape_requirement_gal(7.6, 1.2, zones)
    assert allowance == pytest.approx(16_580, abs=1)
    assert requirement == pytest.approx(14_917, abs=1)
    assert requirement <= allowance


def test_a_special_area_larger_than_the_landscape_is_refused():
    with pytest.raises(WaterInputError, match="special landscape area"):
        b.maximum_applied_water_gal(51.1, 1_000, 2_000)


TARIFF = b.Tariff(9.50, (b.Block(20, 1.10), b.Block(50, 1.65), b.Block(None, 2.40)))


@pytest.mark.parametrize(("units", "total"), [(68, 124.20), (20, 31.50), (0, 9.50)])
def test_block_tariff(units, total):
    """Own case, by hand: fixed 9.50, 0-20 at 1.10, 20-50 at 1.65, above at 2.40."""
    assert b.bill(TARIFF, units).total == pytest.approx(total, abs=0.005)


def test_the_lines_of_a_bill_add_up_to_the_units():
    lines = b.bill(TARIFF, 68).lines
    assert [line.units for line in lines] == [20, 30, 18]
    assert [line.cost for line in lines] == pytest.approx([22.00, 49.50, 43.20])


def test_monthly_blocks_follow_the_days_billed():
    monthly = b.Tariff(0.0, TARIFF.blocks, per_month=True)
    assert b.bill(monthly, 40, days=60.8).total == pytest.approx(40 * 1.10)
    with pytest.raises(WaterInputError, match="days"):
        b.bill(monthly, 40)


@pytest.mark.parametrize(
    "blocks", [(), (b.Block(20, 1.0),), (b.Block(20, 1.0), b.Block(10, 1.0), b.Block(None, 2.0))]
)
def test_blocks_out_of_order_are_refused(blocks):
    with pytest.raises(WaterInputError, match="blocks must rise"):
        b.Tariff(0.0, blocks)


def test_use_normalised_to_normal_weather():
    """Own case, by hand: 412 m3 with net 745 mm to 690 mm: 381.6; -16.1 % against 455, raw -9.5 %."""
    assert b.normalised_use(412, 745, 690) == pytest.approx(381.6, abs=0.1)
    years = b.year_on_year(412, 745, 455, 690, 690)
    assert years.normalised_change_percent == pytest.approx(-16.1, abs=0.05)
    assert years.raw_change_percent == pytest.approx(-9.5, abs=0.05)


@pytest.mark.parametrize(("metered", "verdict"), [(1100, "within"), (1151, "above"), (849, "below")])
def test_metered_against_expected(metered, verdict):
    """15 % either way is common practice for audited zones."""
    assert b.against_expected(metered, 1000)[1] == verdict


@pytest.mark.parametrize("units", [float("nan"), float("inf"), -1.0])
def test_a_bill_for_water_that_is_no_number_is_refused(units):
    with pytest.raises(WaterInputError, match="units"):
        b.bill(b.Tariff(10.0, (b.Block(None, 1.0),)), units)
