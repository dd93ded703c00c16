"""Forms of rows that stand in the rulebook: units, weekdays and refusals come from there."""

from collections.abc import Callable
from typing import Any

from django import forms
from django.core.exceptions import NON_FIELD_ERRORS, ValidationError
from django.core.validators import MaxLengthValidator, MaxValueValidator, MinValueValidator

from sites.core.rulebook import Field, Kind, Table
from sites.core.rulebook.fields import MISSING, NO_RULES, NOT_WEEKDAYS
from sites.forms.quantities import QuantityModelForm, show_unit
from sites.models.places import WEEKDAYS
from sites.models.ruled import RuledRow

LIMITS = (MinValueValidator, MaxValueValidator, MaxLengthValidator)


class WeekdaysField(forms.TypedMultipleChoiceField):
    """Weekdays as check boxes; cleans to a list of whole numbers, 0 for Monday."""

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("widget", forms.CheckboxSelectMultiple)
        super().__init__(choices=list(enumerate(WEEKDAYS)), coerce=int, **kwargs)
        self.error_messages["invalid_choice"] = NOT_WEEKDAYS


def refuser(field: Field, system: str) -> Callable[[Any], None]:
    """A form field's validator that says what the rulebook says."""

    def refuse(value: Any) -> None:
        if words := field.refusal(value, system):
            raise ValidationError(words)

    return refuse


class RuledForm(QuantityModelForm):
    """A model form judged by the rulebook, in words that the API says too. `Meta.fields` is its table's `names`."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        self.rules: Table = getattr(self._meta.model, "rules", NO_RULES)
        if self.rules.fields:
            self.quantities = {field.name: field.quantity for field in self.rules if field.quantity}
        super().__init__(*args, **kwargs)
        for field in self.rules:
            if field.name in self.fields:
                self._follow(field)

    def _follow(self, field: Field) -> None:
        shown = self.fields[field.name]
        if field.kind is Kind.WEEKDAYS:
            self.fields[field.name] = shown = WeekdaysField(
                label=shown.label,
                help_text=field.help,
                required=not field.empty,
                initial=shown.initial,
                error_messages={"required": field.told or MISSING},
            )
        if field.unit:
            show_unit(shown, field.unit)
        # The row itself judges, see `RuledRow`.
        shown.validators = [one for one in shown.validators if not isinstance(one, LIMITS)]

    def _post_clean(self) -> None:
        if isinstance(self.instance, RuledRow):
            self.instance.told_in, self.instance.mistyped = self.system, set(self.errors)
        super()._post_clean()  # type: ignore[misc]  # the stubs leave out this method of ModelForm

    def _get_validation_exclusions(self) -> set[str]:
        # A model form skips every constraint that names a field it does not show. The parent is set and must count.
        return super()._get_validation_exclusions() - {self.rules.parent}  # type: ignore[misc]  # the stubs leave out this method of ModelForm

    def _update_errors(self, errors: ValidationError) -> None:
        # What is wrong with a field that is not shown, such as the parent, goes to the top of the form.
        by_field = getattr(errors, "error_dict", {})
        for name in set(by_field) - set(self.fields) - {NON_FIELD_ERRORS}:
            by_field.setdefault(NON_FIELD_ERRORS, []).extend(by_field.pop(name))
        super()._update_errors(errors)  # type: ignore[misc]  # the stubs leave out this method of ModelForm
