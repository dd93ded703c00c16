"""24 V valve circuits: wire resistance, voltage at the valve, longest run, transformer load, expected readings.

Copper after NBS_100 (0.017241 ohm mm2/m at 20 degC, 100 % IACS) and the 20 degC maxima of IEC 60228.
Work on the mains side of a transformer is for a licensed electrician; nothing here describes it.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from sites.core.figures import Possible, door, possible
from sites.core.units import awg_to_mm2

COPPER_OHM_MM2_PER_M = 0.017241
COPPER_PER_K = 0.00393  # annealed copper at 20 degC, NBS-100 / IEC 60028
REFERENCE_C = 20.0
TRANSFORMER_MARGIN = 0.20  # common practice, no source

# IEC 60228 class 1 and 2, plain copper: largest ohm/km at 20 degC by nominal section.
IEC_60228_OHM_PER_KM = {0.5: 36.0, 0.75: 24.5, 1.0: 18.1, 1.5: 12.1, 2.5: 7.41, 4.0: 4.61, 6.0: 3.08}


@door
def at_temperature_ohm(resistance_20c_ohm: float, temperature_c: float) -> float:
    """A copper resistance given at 20 degC, at another temperature."""
    return resistance_20c_ohm * (1 + COPPER_PER_K * (temperature_c - REFERENCE_C))


@door
def at_20c_ohm(resistance_ohm: float, temperature_c: float) -> float:
    """A copper resistance measured at `temperature_c`, brought to 20 degC."""
    return resistance_ohm / (1 + COPPER_PER_K * (temperature_c - REFERENCE_C))


@door
def wire_ohm_per_km(section_mm2: float, temperature_c: float = REFERENCE_C) -> float:
    """Resistance of one copper conductor.

    A nominal IEC section (within 1 %) has the standard's largest value, any other section its geometry, which
    is what American gauges are. ValueError for a section that is not above 0.
    """
    if section_mm2 <= 0:
        raise ValueError(f"wire section must be above 0 mm2, not {section_mm2}")
    for nominal_mm2, ohm_per_km in IEC_60228_OHM_PER_KM.items():
        if abs(section_mm2 - nominal_mm2) <= 0.01 * nominal_mm2:
            return at_temperature_ohm(ohm_per_km, temperature_c)
    return at_temperature_ohm(COPPER_OHM_MM2_PER_M * 1000 / section_mm2, temperature_c)


@door
def awg_ohm_per_km(awg: float, temperature_c: float = REFERENCE_C) -> float:
    """Resistance of a solid copper wire of an American gauge; stranded is about 2 % higher."""
    return at_temperature_ohm(COPPER_OHM_MM2_PER_M * 1000 / awg_to_mm2(awg), temperature_c)


@door
def loop_ohm(
    length_m: float,
    hot_mm2: float,
    common_mm2: float | None = None,
    temperature_c: float = REFERENCE_C,
) -> float:
    """Resistance out and back over `length_m` one way; the common has the hot wire's section unless given."""
    hot = wire_ohm_per_km(hot_mm2, temperature_c)
    common = hot if common_mm2 is None else wire_ohm_per_km(common_mm2, temperature_c)
    return length_m / 1000 * (hot + common)


@door
def valve_voltage_v(
    source_v: float,
    current_a: float,
    length_m: float,
    hot_mm2: float,
    common_mm2: float | None = None,
    *,
    others_on_common_a: float = 0.0,
    temperature_c: float = REFERENCE_C,
) -> float:
    """Voltage left at the valve. The common carries this valve's current and that of the others running."""
    hot = wire_ohm_per_km(hot_mm2, temperature_c) * length_m / 1000
    common = wire_ohm_per_km(common_mm2 or hot_mm2, temperature_c) * length_m / 1000
    return source_v - current_a * hot - (current_a + others_on_common_a) * common


@door
def longest_run_m(
    source_v: float,
    minimum_v: float,
    inrush_a: float,
    hot_mm2: float,
    common_mm2: float | None = None,
    temperature_c: float = REFERENCE_C,
    *,
    others_on_common_a: float = 0.0,
) -> float:
    """Longest one-way run at which the valve still sees `minimum_v` while it draws its inrush current."""
    if inrush_a <= 0:
        raise ValueError("the inrush current must be above 0 A")
    lost_v_per_m = inrush_a * loop_ohm(1.0, hot_mm2, common_mm2, temperature_c)
    lost_v_per_m += others_on_common_a * wire_ohm_per_km(common_mm2 or hot_mm2, temperature_c) / 1000
    return max(0.0, source_v - minimum_v) / lost_v_per_m


@door
def holding_current_a(holding_va: float, nominal_v: float = 24.0) -> float:
    """Current of an AC coil from its VA; never from its DC resistance, which is a fraction of its impedance."""
    return holding_va / nominal_v


def parallel_ohm(*resistances_ohm: float) -> float:
    """Coils in parallel as one ohmmeter sees them; 0 if any is a short. ValueError for none."""
    if not resistances_ohm:
        raise ValueError("no resistance given")
    for resistance_ohm in resistances_ohm:
        possible("resistance_ohm", resistance_ohm)
    if min(resistances_ohm) <= 0:
        return 0.0
    return 1 / sum(1 / ohm for ohm in resistances_ohm)


@door
def expected_at_terminals_ohm(
    coil_20c_ohm: float,
    length_m: float = 0.0,
    hot_mm2: float | None = None,
    common_mm2: float | None = None,
    temperature_c: float = REFERENCE_C,
) -> float:
    """What an ohmmeter at the controller should read: coil and wire loop, both at `temperature_c`."""
    wire = loop_ohm(length_m, hot_mm2, common_mm2, temperature_c) if hot_mm2 else 0.0
    return at_temperature_ohm(coil_20c_ohm, temperature_c) + wire


@dataclass(frozen=True)
class Coil(Possible):
    """What one AC coil takes from the transformer: holding while open, inrush in its first moments."""

    holding_va: float
    inrush_va: float | None = None

    @property
    def inrush_excess_va(self) -> float:
        """Without a figure inrush counts as 1.7 times holding (0.40 A to 0.23 A; common practice, no source)."""
        inrush = self.inrush_va if self.inrush_va is not None else 1.7 * self.holding_va
        return max(0.0, inrush - self.holding_va)


@dataclass(frozen=True)
class TransformerLoad:
    """holding_va: everything open together. peak_va: and the hungriest of them just starting."""

    holding_va: float
    peak_va: float
    rated_va: float

    @property
    def share(self) -> float:
        return self.peak_va / self.rated_va

    @property
    def overloaded(self) -> bool:
        return self.peak_va > self.rated_va

    @property
    def margin_kept(self) -> bool:
        return self.peak_va <= (1 - TRANSFORMER_MARGIN) * self.rated_va


@door
def transformer_load(running: Sequence[Coil], rated_va: float, relay_va: float = 0.0) -> TransformerLoad:
    """Load of the coils open together plus a pump relay, with one inrush on top (coils start one by one)."""
    if rated_va <= 0:
        raise ValueError("the transformer's rating must be above 0 VA")
    holding_va = sum(coil.holding_va for coil in running) + relay_va
    excess_va = max((coil.inrush_excess_va for coil in running), default=0.0)
    return TransformerLoad(holding_va, holding_va + excess_va, rated_va)
