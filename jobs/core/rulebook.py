"""What a technician measures, what a site orders and asks of its visits, and the price list, field by field."""

from functools import partial
from typing import Any

from sites.core.rulebook import Field, Kind, Rule, Table, Values, Words
from sites.core.rulebook.plant import MOST_FLOW_L_MIN, MOST_KPA, text, yes_no
from sites.core.units import Quantity, System

MOST_AIR_KPA = 1000  # above any blow-out: a slip of the unit; common practice, no source
MOST_FIGURE = 1_000_000  # of a step of a checklist, whatever it counts


class Opens(Words):
    YES = "yes", "yes"
    NO = "no", "no"


class Closes(Words):
    YES = "yes", "yes"
    NO = "no", "no"
    WEEPS = "weeps", "weeps"


class SaleUnit(Words):
    PIECE = "piece", "piece"
    HOUR = "hour", "hour"
    METRE = "metre", "metre"
    FOOT = "foot", "foot"


measured = partial(Field, Kind.NUMBER, least=0, empty=True)
tried = partial(Field, Kind.CHOICE, longest=5, empty=True)

AIR = ("air_pressure_kpa", "air_min")  # asked on a winterization only
MORE = ("pressure_kpa", "current_a", "temperature_c")  # folded away on the phone until asked for
EXPECTED = ("voltage_v", "current_a")  # shown beside what is expected, not beside what was measured when new
# What says something about the valve; a temperature alone does not.
TELLING = (
    "coil_resistance_ohm", "open_circuit", "voltage_v", "flow_l_min", "opens", "closes", "pressure_kpa", "current_a",
    "air_pressure_kpa", "air_min", "note",
)  # fmt: skip
NO_NUMBER = "Enter a number, such as 34.5. Nothing was saved."
EITHER_OR = "Either a resistance or no reading, not both."
NOTHING_TOLD = "Enter at least one figure or answer."


def resistance_or_no_reading(reading: Values) -> dict[str, str]:
    both = reading["open_circuit"] and reading["coil_resistance_ohm"] is not None
    return {"open_circuit": EITHER_OR} if both else {}


def something_is_told(reading: Values) -> dict[str, str]:
    silent = all(reading[name] is None or reading[name] is False or reading[name] == "" for name in TELLING)
    return {"coil_resistance_ohm": NOTHING_TOLD} if silent else {}  # 0 is a figure


MEASUREMENT = Table(
    "",
    (
        measured("coil_resistance_ohm", "resistance at the terminals", unit="Ω", most=1_000_000, decimals=1),
        yes_no("open_circuit", "meter shows no reading (over range)", default=False),
        measured("voltage_v", "voltage at the valve", unit="V", most=1000, decimals=1),
        measured("flow_l_min", "flow", Quantity.FLOW, most=MOST_FLOW_L_MIN),
        tried("opens", choices=Opens),
        tried("closes", choices=Closes),
        measured("pressure_kpa", "pressure running", Quantity.PRESSURE, most=MOST_KPA),
        measured("current_a", "current", unit="A", most=1000, decimals=2),
        measured("temperature_c", "wire and coil temperature", Quantity.TEMPERATURE, least=-60, most=90),
        measured("air_pressure_kpa", "air used", Quantity.PRESSURE, most=MOST_AIR_KPA),
        measured("air_min", "air on, all passes", unit="min", most=1440, decimals=1),
        text("note", longest=300, empty=True),
    ),
    (
        Rule(("open_circuit", "coil_resistance_ohm"), resistance_or_no_reading),
        Rule((*TELLING, "temperature_c"), something_is_told),
    ),
)  # fmt: skip
NUMBERS = tuple(field.name for field in MEASUREMENT if field.kind is Kind.NUMBER)


def step_number(unit_kind: str) -> Field:
    """The number that answers a step of a checklist; unit_kind: the quantity it measures, "" for a bare figure."""
    most = MOST_KPA if unit_kind == Quantity.PRESSURE else MOST_FIGURE
    return Field(Kind.NUMBER, "number", quantity=Quantity(unit_kind) if unit_kind else None, least=0, most=most)


def phone_rules(system: System | str) -> dict[str, Any]:
    """The measurement as plain data for the phone: limits in SI, words in the units of `system`."""
    return {
        "numbers": [_number_rule(field, system) for field in MEASUREMENT if field.kind is Kind.NUMBER],
        "plain": {field.name: field.left_out for field in MEASUREMENT if field.kind is not Kind.NUMBER},
        "choices": {field.name: field.choices.pairs() for field in MEASUREMENT if field.choices},
        "labels": {field.name: _capital(field.words) for field in MEASUREMENT},
        "longest_note": MEASUREMENT["note"].longest,
        "telling": TELLING,
        "words": {"no_number": NO_NUMBER, "either": EITHER_OR, "nothing": NOTHING_TOLD},
    }


def _number_rule(field: Field, system: System | str) -> dict[str, Any]:
    assert field.least is not None and field.most is not None
    return {
        "name": field.name,
        "quantity": field.quantity,
        "unit": field.unit,
        "decimals": field.decimals,
        "least": field.least,
        "most": field.most,
        "too_low": field.refusal(field.least - 1, system),
        "too_high": field.refusal(field.most + 1, system),
        "winter": field.name in AIR,
        "more": field.name in MORE,
        "expected": field.name in EXPECTED,
    }


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]


SERVICE_PLAN = Table(
    "site",
    (
        yes_no("startup", default=True),
        Field(Kind.WHOLE, "mid_season_visits", "mid-season checks", least=0, most=12, default=1,
            help="How many a season, spread through the window."),
        yes_no("winterisation", "winterization", default=True),
    ),
)  # fmt: skip

VISIT_TERMS = Table(
    "site",
    (
        Field(Kind.ROW, "preferred_technician", empty=True),
        Field(Kind.WEEKDAYS, "preferred_weekdays", empty=True, help="None ticked: any day."),
        Field(Kind.WHOLE, "frost_days", "frost comes earlier by", unit="days", least=-60, most=60, default=0,
            help="Days earlier in autumn and later in spring than the station's record says for this elevation. "
            "A cold hollow: about 7. Negative: a sheltered, warm place."),
        text("frost_note", "reason", longest=80, empty=True),
    ),
)  # fmt: skip

PRICE_ITEM = Table(
    "",
    (
        text("name", longest=120),
        Field(Kind.CHOICE, "unit", choices=SaleUnit, longest=5, default=SaleUnit.PIECE.value),
        Field(Kind.MONEY, "price", "price per unit", least=0, most=99_999_999, digits=10, decimals=2),
        yes_no("active", default=True,
            help="Off: not offered any more. Lines that were written with it keep their price."),
    ),
)  # fmt: skip
