"""Read one record of a phone: its envelope and the data of its kind, with an error beside each field that is wrong.

Everything here can be judged from the record alone. Whether it fits what is recorded by now is decided when it
is applied. Numbers are SI.
"""

import datetime as dt
import json
import uuid as uuids
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from jobs.core.rulebook import MEASUREMENT, step_number
from sites.core.rulebook import Field, Kind

SCHEMAS = (1,)
ANY_STEP = step_number("")  # a record does not say what its step measures
LARGEST_SEQUENCE = 2**31 - 1
LARGEST_PHOTOS = 20

Errors = dict[str, list[str]]


@dataclass(frozen=True)
class Words:
    """The words the tables of faults allow; they live with the models, so they are handed in."""

    fault_kinds: frozenset[str]
    severities: frozenset[str]


@dataclass(frozen=True)
class FieldRecord:
    """`device`, `sequence` and `recorded_at` are set wherever they could be read, also beside `errors`."""

    schema: int | None
    device: uuids.UUID | None
    sequence: int | None
    kind: str
    visit: uuids.UUID | None
    recorded_at: dt.datetime | None
    data: dict[str, Any]
    errors: Errors

    @property
    def of_known_schema(self) -> bool:
        return self.schema in SCHEMAS


def parse_body(body: bytes) -> Any:
    """The JSON in `body`; ValueError for anything else, NaN and Infinity included."""

    def refuse(word: str) -> None:
        raise ValueError(f"{word} is not a number")

    try:
        return json.loads(body.decode("utf-8"), parse_constant=refuse)
    except RecursionError as error:
        raise ValueError("nested too deep") from error


def read_record(raw: Any, words: Words) -> FieldRecord:
    """Read a parsed body. Never raises; what is wrong stands in `errors` by field."""
    if not isinstance(raw, Mapping):
        return FieldRecord(None, None, None, "", None, None, {}, {"body": ["Not a JSON object."]})
    read = _Reader(raw)
    schema = read.value("schema", whole_number)
    device = read.value("device", identity)
    sequence = read.value("sequence", sequence_number)
    kind = read.value("kind", text_of(30)) or ""
    visit = read.value("visit", identity)
    recorded_at = read.value("recorded_at", moment)
    data = raw.get("data", {})
    known = schema in SCHEMAS
    if not isinstance(data, Mapping):
        read.errors["data"] = ["Not a JSON object."]
        data = {}
    elif known and kind not in KINDS:
        read.errors["kind"] = [f"Unknown: {kind[:30]}."]
    elif known:
        inner = _Reader(data)
        data = KINDS[kind](inner, words)
        read.errors.update({f"data.{name}": found for name, found in inner.errors.items()})
    return FieldRecord(schema, device, sequence, kind, visit, recorded_at, dict(data), read.errors)


class _Reader:
    """Takes values out of a mapping and collects what is wrong with them."""

    def __init__(self, raw: Mapping[str, Any]) -> None:
        self.raw = raw
        self.errors: Errors = {}

    def value(self, name: str, check: Callable[[Any], Any], *, default: Any = ...) -> Any:
        if self.raw.get(name) is None:
            if default is ...:
                self.errors[name] = ["Missing."]
                return None
            return default
        try:
            return check(self.raw[name])
        except (ValueError, TypeError, OverflowError) as error:
            self.errors[name] = [str(error) or "Not understood."]
            return default if default is not ... else None


def whole_number(value: Any) -> int:
    if isinstance(value, bool) or not isinstance(value, int) or not 0 <= value <= LARGEST_SEQUENCE:
        raise ValueError("Must be a whole number, not negative.")
    return value


def sequence_number(value: Any) -> int:
    if whole_number(value) < 1:
        raise ValueError("Must be 1 or more.")
    return int(value)


def identity(value: Any) -> uuids.UUID:
    if not isinstance(value, str):
        raise ValueError("Must be a UUID.")
    try:
        return uuids.UUID(value)
    except ValueError as error:
        raise ValueError("Must be a UUID.") from error


def moment(value: Any) -> dt.datetime:
    if not isinstance(value, str):
        raise ValueError("Must be a time as text, ISO 8601 with its offset.")
    try:
        read = dt.datetime.fromisoformat(value)
    except ValueError as error:
        raise ValueError("Must be a time as text, ISO 8601 with its offset.") from error
    if read.tzinfo is None:
        raise ValueError("The time needs its offset from UTC.")
    return read.astimezone(dt.UTC)


def by_the_book(field: Field) -> Callable[[Any], Any]:
    """Takes what the rulebook takes for `field`, and refuses in its words."""

    def check(value: Any) -> Any:
        if refused := field.refusal(value):
            raise ValueError(refused)
        return float(value) if field.kind is Kind.NUMBER else value

    return check


def text_of(longest: int) -> Callable[[Any], str]:
    def check(value: Any) -> str:
        if not isinstance(value, str):
            raise ValueError("Must be text.")
        if len(value) > longest:
            raise ValueError(f"Longer than {longest} characters.")
        if "\x00" in value or any(0xD800 <= ord(letter) <= 0xDFFF for letter in value):
            raise ValueError("Has a character that cannot be kept.")
        return value

    return check


def one_of(*allowed: str) -> Callable[[Any], str]:
    def check(value: Any) -> str:
        if value not in allowed:
            raise ValueError(f"Must be one of: {', '.join(word or 'nothing' for word in allowed)}.")
        return str(value)

    return check


def truth(value: Any) -> bool:
    if not isinstance(value, bool):
        raise ValueError("Must be true or false.")
    return value


def list_of(check: Callable[[Any], Any], longest: int) -> Callable[[Any], list[Any]]:
    def check_all(value: Any) -> list[Any]:
        if not isinstance(value, list) or len(value) > longest:
            raise ValueError(f"Must be a list of at most {longest}.")
        return [check(entry) for entry in value]

    return check_all


def _step_state(value: Any) -> dict[str, Any]:
    """What the phone knew of a step before: done, number, text."""
    if not isinstance(value, Mapping):
        raise ValueError("Must be an object.")
    shown = value.get("number")
    return {
        "done": truth(value.get("done", False)),
        "number": None if shown is None else by_the_book(ANY_STEP)(shown),
        "text": text_of(2000)(value.get("text", "")),
    }


def _started(read: _Reader, words: Words) -> dict[str, Any]:
    return {}


def _answer(read: _Reader, words: Words) -> dict[str, Any]:
    return {
        "item": read.value("item", whole_number),
        "done": read.value("done", truth),
        "number": read.value("number", by_the_book(ANY_STEP), default=None),
        "text": read.value("text", text_of(2000), default=""),
        "seen": read.value("seen", _step_state, default=None),
    }


def _measurement(read: _Reader, words: Words) -> dict[str, Any]:
    values = {field.name: read.value(field.name, by_the_book(field), default=field.left_out) for field in MEASUREMENT}
    sound = {name: value for name, value in values.items() if name not in read.errors}
    read.errors.update({name: [refused] for name, refused in MEASUREMENT.refusals(sound).items()})
    return {
        "valve": read.value("valve", whole_number),
        "seen": read.value("seen", list_of(identity, 500), default=[]),
        "values": values,
    }


def _fault(read: _Reader, words: Words) -> dict[str, Any]:
    description = read.value("description", text_of(4000), default="")
    kind = read.value("kind", one_of(*sorted(words.fault_kinds)))
    if kind == "other" and not description.strip():
        read.errors["description"] = ["Say in words what is wrong."]
    return {
        "kind": kind,
        "severity": read.value("severity", one_of(*sorted(words.severities))),
        "place": read.value("place", text_of(40), default=""),
        "description": description,
        "part_needed": read.value("part_needed", text_of(120), default=""),
        "repair_note": read.value("repair_note", text_of(300), default=""),
        "photos": read.value("photos", list_of(identity, LARGEST_PHOTOS), default=[]),
    }


def _repaired(read: _Reader, words: Words) -> dict[str, Any]:
    note = read.value("note", text_of(300))
    if note is not None and not note.strip():
        read.errors["note"] = ["Say what was done."]
    return {"fault": read.value("fault", whole_number), "note": note}


def _finished(read: _Reader, words: Words) -> dict[str, Any]:
    started_at = read.value("started_at", moment, default=None)
    finished_at = read.value("finished_at", moment, default=None)
    reason = read.value("times_reason", text_of(300), default="")
    if (started_at or finished_at) and not reason.strip():
        read.errors["times_reason"] = ["Say why the times are changed."]
    if started_at and finished_at and finished_at < started_at:
        read.errors["finished_at"] = ["The visit must finish after it starts."]
    return {
        "notes": read.value("notes", text_of(4000), default=""),
        "signed_by": read.value("signed_by", text_of(120), default=""),
        "accept_reason": read.value("accept_reason", text_of(300), default=""),
        "started_at": started_at,
        "finished_at": finished_at,
        "times_reason": reason,
        "set_at": read.value("set_at", list_of(whole_number, 100), default=[]),
    }


KINDS: dict[str, Callable[[_Reader, Words], dict[str, Any]]] = {
    "visit_started": _started,
    "checklist_answer": _answer,
    "measurement": _measurement,
    "fault": _fault,
    "fault_repaired": _repaired,
    "visit_finished": _finished,
}


def clock_offset_s(phone_now: dt.datetime | None, server_now: dt.datetime, noticed_s: int = 120) -> int:
    """Server minus phone, whole seconds; 0 within `noticed_s`, which a slow network alone can make."""
    if phone_now is None:
        return 0
    offset = round((server_now - phone_now).total_seconds())
    return offset if abs(offset) >= noticed_s else 0


def put_right(recorded_at: dt.datetime, offset_s: int, received_at: dt.datetime) -> dt.datetime:
    """When it happened by the server's clock: never after it was received, whatever the phone says."""
    try:
        corrected = recorded_at + dt.timedelta(seconds=offset_s)
    except OverflowError:
        return received_at
    return min(corrected, received_at)
