"""Tables whose fields stand in the rulebook: their columns are made from it, and a row is judged by it."""

from collections.abc import Collection
from typing import Any, ClassVar

from django.core.exceptions import ValidationError
from django.db import models

from sites.core.rulebook import Field, Kind, Table
from sites.core.units import System

COLUMNS: dict[Kind, type[models.Field]] = {
    Kind.NUMBER: models.FloatField,
    Kind.WHOLE: models.PositiveIntegerField,
    Kind.MONEY: models.DecimalField,
    Kind.TEXT: models.CharField,
    Kind.NOTE: models.TextField,
    Kind.EMAIL: models.EmailField,
    Kind.CHOICE: models.CharField,
    Kind.YES_NO: models.BooleanField,
    Kind.DATE: models.DateField,
    Kind.TIME: models.TimeField,
    Kind.WEEKDAYS: models.JSONField,
}
TEXTS = (Kind.TEXT, Kind.NOTE, Kind.EMAIL, Kind.CHOICE)


def column(field: Field, as_type: type[models.Field] | None = None, **more: Any) -> Any:
    """The column of a field of the rulebook. `as_type` where its width in the database is another than usual."""
    about: dict[str, Any] = {"verbose_name": field.label or None, "help_text": field.help}
    if field.default is not None:
        about["default"] = field.default
    if field.empty:
        about["blank"] = True
        about["null"] = field.kind not in (*TEXTS, Kind.WEEKDAYS)
    if field.kind in TEXTS and field.kind is not Kind.NOTE:
        about["max_length"] = field.longest
    if field.choices is not None:
        about["choices"] = field.choices.pairs()
    if field.kind is Kind.MONEY:
        about |= {"max_digits": field.digits, "decimal_places": field.decimals}
    return (as_type or COLUMNS[field.kind])(**{**about, **more})


class RuledRow(models.Model):
    """A row that is judged by its table of the rulebook, with limits told in the units of `told_in`.

    What stands unchanged in the database is not judged: a row from before a limit existed can be changed elsewhere.
    mistyped: fields a form could not read; the row holds something else than was typed, so no rule is judged by it.
    """

    rules: ClassVar[Table]
    told_in: str = System.METRIC
    mistyped: Collection[str] = ()
    _changed: set[str] | None = None
    _refused: frozenset[str] = frozenset()

    class Meta:
        abstract = True

    def clean_fields(self, exclude: Collection[str] | None = None) -> None:
        left_out = set(exclude or ())
        self._changed = self._differs_from_stored()
        values, errors = {}, {}
        for field in self.rules:
            if field.name in self.mistyped:
                continue
            meta = self._meta.get_field(field.name)
            assert isinstance(meta, models.Field)  # the rulebook names columns
            try:
                values[field.name] = meta.to_python(getattr(self, meta.attname))
            except ValidationError as error:
                errors[field.name] = error.messages
        judged = set(self.rules.names) - left_out if self._changed is None else self._changed - left_out
        refused = self.rules.refusals(values, self.told_in, changed=judged)
        errors |= {name: [words] for name, words in refused.items()}
        self._refused = frozenset({*errors, *self.mistyped})
        unchanged = set() if self._changed is None else set(self.rules.names) - self._changed
        try:
            super().clean_fields(exclude=left_out | set(errors) | unchanged)
        except ValidationError as error:
            errors |= error.message_dict
        if errors:
            raise ValidationError(errors)

    def changes(self, *names: str) -> bool:
        """Whether the row is new or one of these differs from what is stored, and none was refused by itself; to be
        asked in `clean`."""
        if not self._refused.isdisjoint(names):
            return False
        return self._changed is None or not self._changed.isdisjoint(names)

    def _differs_from_stored(self) -> set[str] | None:
        """Names of the fields that differ from the database; None for a new row."""
        if self._state.adding:
            return None
        columns = {field.attname: field.name for field in self._meta.concrete_fields}
        stored = type(self)._base_manager.filter(pk=self.pk).values(*columns).first()
        if stored is None:
            return None
        return {name for attname, name in columns.items() if stored[attname] != getattr(self, attname)}
