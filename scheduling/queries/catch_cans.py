"""A catch-can test worked out, beside what the zone's register says now."""

from dataclasses import dataclass

from scheduling.core.water.application import (
    LOWEST_DU_TO_WATER_BY,
    CatchCanResult,
    catch_can_test,
    scheduling_multiplier,
)
from scheduling.core.water.can_map import CanMap, can_map
from scheduling.models import CatchCanTest
from sites.core.sources import AUDIT_2009, COMMON_PRACTICE, IA_2005, UC_DAVIS_DU, joined
from sites.models import Zone

# What the page's figures rest on: uniformity and cans, wind, the multiplier, the uniformity below which to repair.
SOURCE = joined(
    UC_DAVIS_DU,
    AUDIT_2009,
    f"multiplier: {IA_2005.unconfirmed}",
    f"repair below {LOWEST_DU_TO_WATER_BY:.2f}: {COMMON_PRACTICE}",
)


@dataclass(frozen=True)
class CanSheet:
    """One test with its figures and the map of its cans; `multiplier` is what its DU does to run times."""

    test: CatchCanTest
    result: CatchCanResult
    map: CanMap
    multiplier: float

    @property
    def rate_change_percent(self) -> float | None:
        """The measured rate against the register's; None where the register has none."""
        entered = self.test.zone.application_rate_mm_h
        return 100.0 * (self.result.rate_mm_h / entered - 1.0) if entered else None


def worked_out(test: CatchCanTest) -> CatchCanResult:
    """Rate and uniformity of a stored test."""
    return catch_can_test(test.catches_ml, test.mouth_cm2, test.minutes, test.wind_m_s)


def can_sheet(test: CatchCanTest) -> CanSheet:
    result = worked_out(test)
    return CanSheet(
        test, result, can_map(test.catches_ml, test.cans_per_row), float(scheduling_multiplier(result.du_lq))
    )


def can_sheets(zone: Zone) -> list[CanSheet]:
    """Every test of a zone, the latest first."""
    return [can_sheet(test) for test in zone.catch_can_tests.select_related("zone", "tested_by")]
