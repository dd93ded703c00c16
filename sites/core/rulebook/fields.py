"""What a field of the register is: its name, words, unit and limits, and what is said about a value that is refused.

A form, an endpoint, the phone and an import judge by `Field.refusal` and `Table.refusals` and so say the same.
Values are SI. Limits tell a slip of the unit or of a digit from a figure that can be meant: common practice, no
source, where nothing else is said.
"""

import datetime as dt
import math
import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from typing import Any, Self

from sites.core.units import Quantity, System, display_unit, format_quantity, from_display, to_display
from sites.core.writing import number, short_number

ABOVE_0 = 0.0001  # the least figure that counts as one, in every unit of the register

MISSING = "This field is required."
NOT_A_NUMBER = "Enter a number."
NOT_WHOLE = "Enter a whole number."
NOT_A_DATE = "Enter a valid date."
NOT_A_TIME = "Enter a valid time."
NOT_AN_ADDRESS = "Enter a valid email address."
NOT_A_CHOICE = "Select a valid choice. {value} is not one of the available choices."
NOT_AMONG = "Select a valid choice. That choice is not one of the available choices."
NOT_YES_OR_NO = "Must be yes or no."
NOT_WEEKDAYS = "Weekdays are a list of whole numbers, 0 for Monday to 6 for Sunday."
WEEKDAY_TWICE = "A weekday is in the list twice."


class Words(StrEnum):
    """A choice of words: what is stored, and its label for a person."""

    label: str

    def __new__(cls, value: str, label: str) -> Self:
        member = str.__new__(cls, value)
        member._value_ = value
        member.label = label
        return member

    @classmethod
    def stored(cls) -> list[str]:
        return [member.value for member in cls]

    @classmethod
    def pairs(cls) -> list[tuple[str, str]]:
        return [(member.value, member.label) for member in cls]


class Kind(StrEnum):
    NUMBER = "number"
    WHOLE = "whole number"
    MONEY = "amount with fixed decimals"
    TEXT = "line of text"
    NOTE = "text of several lines"
    EMAIL = "email address"
    CHOICE = "choice"
    YES_NO = "yes or no"
    DATE = "date"
    TIME = "time of day"
    WEEKDAYS = "list of weekdays"
    ROW = "another row"


NUMERIC = (Kind.NUMBER, Kind.WHOLE, Kind.MONEY)


@dataclass(frozen=True)
class Field:
    """One field of a table.

    label: "" is the name in words. quantity: what the number measures, shown in the firm's unit; `unit`: the one unit
    of a number that has no other. least, most: SI, both allowed. longest: letters of a text. empty: may be left out.
    default: what a new row starts with. told: in place of the usual words about a limit, with {least} and {most}.
    decimals: of money as stored, of a number as shown.
    hidden_from: roles that never read it. column: heading of its column on the site page, where it has one.
    on_sheet: printed with its row on the service sheet. repeats: the next row a person enters starts with it.
    """

    kind: Kind
    name: str
    label: str = ""
    quantity: Quantity | None = None
    unit: str = ""
    least: float | None = None
    most: float | None = None
    digits: int = 0
    decimals: int = 0
    longest: int = 0
    choices: type[Words] | None = None
    empty: bool = False
    default: Any = None
    help: str = ""
    told: str = ""
    hidden_from: tuple[str, ...] = ()
    column: str = ""
    on_sheet: bool = False
    repeats: bool = False

    @property
    def words(self) -> str:
        return self.label or self.name.replace("_", " ")

    @property
    def stored_unit(self) -> str:
        """The unit the database and the API count in."""
        return display_unit(self.quantity, System.METRIC).label if self.quantity else self.unit

    @property
    def left_out(self) -> Any:
        """What stands where nothing was given."""
        if self.default is not None or self.kind not in (Kind.TEXT, Kind.NOTE, Kind.EMAIL, Kind.CHOICE):
            return self.default
        return ""

    def refusal(self, value: Any, system: System | str = System.METRIC) -> str | None:
        """Why `value` (SI, of the field's own type) is refused, with limits in the units of `system`; None if not."""
        if self.kind is Kind.WEEKDAYS and value == []:
            return None if self.empty else self.told or MISSING
        if value is None or value == "":
            return None if self.empty else MISSING
        return _JUDGES[self.kind](self, value, System(system))

    def limit(self, value: float, system: System | str = System.METRIC, *, upper: bool) -> str:
        """A limit as text with its unit, rounded to the side where it holds."""
        if self.quantity is None:
            return f"{short_number(value, 6)} {self.unit}".rstrip()
        unit = display_unit(self.quantity, system)
        if unit.label == "AWG" or self.quantity is Quantity.WIRE_SECTION:
            return format_quantity(value, self.quantity, system, decimals=1)
        rounded = round(to_display(value, self.quantity, system), unit.decimals)
        back = from_display(rounded, self.quantity, system)
        slack = abs(value) * 1e-9
        beyond = back > value + slack if upper else back < value - slack
        if not beyond:
            return format_quantity(value, self.quantity, system)
        scale = 10.0 ** (unit.decimals + 1)
        exact = to_display(value, self.quantity, system) * scale
        held = (math.floor(exact) if upper else math.ceil(exact)) / scale
        return f"{number(held, unit.decimals + 1)} {unit.label}"

    def shown(self, value: Any, system: System | str, missing: str = "–") -> str:
        """A stored value as a person reads it, with its unit."""
        if value is None or value == "":
            return missing
        if self.choices is not None:
            return dict(self.choices.pairs()).get(value, str(value))
        if self.quantity is not None:
            return format_quantity(value, self.quantity, system)
        if self.kind is Kind.YES_NO:
            return "yes" if value else "no"
        if self.kind in NUMERIC:
            figure = number(value, self.decimals) if self.decimals else short_number(float(value), 4)
            return f"{figure} {self.unit}".rstrip()
        return str(value)


def _number(field: Field, value: Any, system: System) -> str | None:
    if isinstance(value, bool) or not isinstance(value, int | float | Decimal) or value != value:
        return NOT_A_NUMBER
    if field.kind is Kind.WHOLE and not isinstance(value, int):
        return NOT_WHOLE
    low = field.least is not None and value < field.least
    high = field.most is not None and value > field.most
    if not low and not high:
        return None
    least = "" if field.least is None else field.limit(field.least, system, upper=False)
    most = "" if field.most is None else field.limit(field.most, system, upper=True)
    if field.told:
        return field.told.format(least=least, most=most)
    if low:
        return "Must be above 0." if field.least == ABOVE_0 else f"Must be at least {least}."
    return f"Must be at most {most}."


def _text(field: Field, value: Any, system: System) -> str | None:
    if not isinstance(value, str):
        return "Must be text."
    if field.longest and len(value) > field.longest:
        return f"Longer than {field.longest} characters."
    if "\x00" in value or any(0xD800 <= ord(letter) <= 0xDFFF for letter in value):
        return "Has a character that cannot be kept."
    return None


# A letter box with one @ and a dot after it; whether it exists only a mail can tell.
_ADDRESS = re.compile(r"[^@\s]+@[^@\s.]+(\.[^@\s.]+)+")


def _email(field: Field, value: Any, system: System) -> str | None:
    wrong = _text(field, value, system)
    return wrong or (None if _ADDRESS.fullmatch(value) else NOT_AN_ADDRESS)


def _choice(field: Field, value: Any, system: System) -> str | None:
    assert field.choices is not None
    return None if value in list(field.choices) else NOT_A_CHOICE.format(value=value)


def _yes_no(field: Field, value: Any, system: System) -> str | None:
    return None if isinstance(value, bool) else NOT_YES_OR_NO


def _date(field: Field, value: Any, system: System) -> str | None:
    return None if isinstance(value, dt.date) and not isinstance(value, dt.datetime) else NOT_A_DATE


def _time(field: Field, value: Any, system: System) -> str | None:
    return None if isinstance(value, dt.time) else NOT_A_TIME


def _weekdays(field: Field, value: Any, system: System) -> str | None:
    if not isinstance(value, list) or any(type(day) is not int or not 0 <= day <= 6 for day in value):
        return NOT_WEEKDAYS
    return None if len(set(value)) == len(value) else WEEKDAY_TWICE


def _row(field: Field, value: Any, system: System) -> str | None:
    return None


_JUDGES: dict[Kind, Callable[[Field, Any, System], str | None]] = {
    Kind.NUMBER: _number,
    Kind.WHOLE: _number,
    Kind.MONEY: _number,
    Kind.TEXT: _text,
    Kind.NOTE: _text,
    Kind.EMAIL: _email,
    Kind.CHOICE: _choice,
    Kind.YES_NO: _yes_no,
    Kind.DATE: _date,
    Kind.TIME: _time,
    Kind.WEEKDAYS: _weekdays,
    Kind.ROW: _row,
}

Values = Mapping[str, Any]


@dataclass(frozen=True)
class Rule:
    """A rule between fields: `judge` gets the row's values by name and returns words by field, {} where it holds."""

    about: tuple[str, ...]
    judge: Callable[[Values], dict[str, str]]


@dataclass(frozen=True)
class Table:
    """The fields of one kind of row in the order a person enters them, and the rules between them.

    parent: what the row stands on, such as "site"; chosen once. "" where it stands on nothing.
    """

    parent: str
    fields: tuple[Field, ...]
    rules: tuple[Rule, ...] = ()

    def __getitem__(self, name: str) -> Field:
        for field in self.fields:
            if field.name == name:
                return field
        raise KeyError(name)

    def __iter__(self) -> Iterator[Field]:
        return iter(self.fields)

    @property
    def names(self) -> list[str]:
        return [field.name for field in self.fields]

    def hidden_from(self) -> dict[str, tuple[str, ...]]:
        """By role the fields it never reads."""
        roles = dict.fromkeys(role for field in self.fields for role in field.hidden_from)
        return {role: tuple(field.name for field in self.fields if role in field.hidden_from) for role in roles}

    def refusals(
        self, values: Values, system: System | str = System.METRIC, *, changed: set[str] | None = None
    ) -> dict[str, str]:
        """What is refused of `values`, words by field: first each field by itself, then the rules between fields.

        changed: only these are judged, and only rules that one of them is part of. What stands unchanged in the
        register from before a limit existed must not keep a person from changing something else.
        """
        judged = [field for field in self.fields if field.name in values]
        judged = [field for field in judged if changed is None or field.name in changed]
        refused = {field.name: words for field in judged if (words := field.refusal(values[field.name], system))}
        for rule in self.rules:
            counts = changed is None or not changed.isdisjoint(rule.about)
            if counts and refused.keys().isdisjoint(rule.about) and all(name in values for name in rule.about):
                refused.update(rule.judge(values))
        return refused


NO_RULES = Table("", ())
