"""Numbers with units in forms: a person types the firm's units, the database keeps SI."""

import math
from collections.abc import Mapping
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from sites.core.units import Quantity, display_unit, format_quantity, from_display, to_display
from sites.models import Firm


def show_unit(field: forms.Field, label: str) -> None:
    """Have the page print a unit beside the box."""
    field.unit = label  # type: ignore[attr-defined]  # read by the form's template only


class QuantityField(forms.FloatField):
    """A number shown and typed in the firm's unit; `clean` returns SI. `unit` is the label beside the field."""

    widget = forms.NumberInput(attrs={"inputmode": "decimal", "step": "any"})

    def __init__(self, *, quantity: Quantity | str, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.quantity = Quantity(quantity)
        self.system: str = Firm.Units.METRIC

    def use_system(self, system: str) -> None:
        self.system = system
        self.unit = display_unit(self.quantity, system).label

    def prepare_value(self, value: Any) -> Any:
        # A number is a stored SI value; a string is what the person typed and stays as it is.
        if isinstance(value, int | float):
            shown = to_display(value, self.quantity, self.system)
            return round(shown, 4) if math.isfinite(shown) else value
        return value

    def clean(self, value: Any) -> float | None:
        """The typed number in SI, checked against the model's limits, which are SI too."""
        typed: Any = self.to_python(value)  # `validate` is what refuses an empty one
        self.validate(typed)
        if typed is None:
            return None
        try:
            stored = from_display(typed, self.quantity, self.system)
        except OverflowError:
            stored = math.inf
        if not math.isfinite(stored):
            raise ValidationError("This number is too large.")
        for limit in self.validators:
            self._check(limit, stored)
        return stored

    def _check(self, limit: Any, stored: float) -> None:
        """One of the model's limits, told in the unit the person typed."""
        try:
            limit(stored)
        except ValidationError as error:
            raise self._in_shown_units(error) from error

    def _in_shown_units(self, error: ValidationError) -> ValidationError:
        if error.code not in ("min_value", "max_value"):
            return error
        limit = (error.params or {})["limit_value"]
        if error.code == "min_value" and 0 < limit < 0.001:  # the models' way of saying "above nothing"
            return ValidationError("Must be above 0.")
        shown = format_quantity(limit, self.quantity, self.system)
        return ValidationError(f"Must be at {'least' if error.code == 'min_value' else 'most'} {shown}.")

    def has_changed(self, initial: Any, data: Any) -> bool:
        return super().has_changed(self.prepare_value(initial), data)


class QuantityModelForm(forms.ModelForm):
    """A model form whose fields named in `quantities` are typed in the firm's units.

    A field that the person left as shown keeps the exact stored value: a round trip through rounded display
    units must not change the register.
    """

    quantities: Mapping[str, str] = {}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.system = Firm.current().units
        for name, quantity in self.quantities.items():
            if name not in self.fields:
                continue
            model_field = self._meta.model._meta.get_field(name)
            field = QuantityField(
                quantity=quantity,
                required=not model_field.blank,
                label=self.fields[name].label,
                help_text=self.fields[name].help_text,
                validators=model_field.validators,
            )
            field.use_system(self.system)
            self.fields[name] = field
        self._show_defaults()

    def _show_defaults(self) -> None:
        """A new row starts with the model's defaults, also in fields that a form draws in its own way."""
        for name, field in self.fields.items():
            if field.initial is None and name in {column.name for column in self._meta.model._meta.fields}:
                column = self._meta.model._meta.get_field(name)
                if column.has_default():
                    field.initial = column.get_default()

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        for name in self.quantities:
            if name in cleaned and self.instance.pk and name not in self.changed_data:
                cleaned[name] = getattr(self.instance, name)
        return cleaned
