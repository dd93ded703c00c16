"""What all forms of the register share."""

from typing import Any, ClassVar, TypeVar

from django import forms
from django.core.exceptions import NON_FIELD_ERRORS, ValidationError
from django.core.validators import MaxValueValidator

from sites.forms.quantities import QuantityModelForm
from sites.models.places import WEEKDAYS

Kind = TypeVar("Kind", bound=forms.Field)
LONGEST_KEY = 18  # digits that fit a row's 64-bit number

# The browser's own pickers take and give ISO dates and 24-hour times only.
NATIVE_WIDGETS = {
    forms.DateField: lambda: forms.DateInput(format="%Y-%m-%d", attrs={"type": "date"}),
    forms.TimeField: lambda: forms.TimeInput(format="%H:%M", attrs={"type": "time"}),
}


def use_native_pickers(fields: dict[str, forms.Field]) -> None:
    """Dates and times get the browser's pickers, long texts a modest box."""
    for field in fields.values():
        if isinstance(field.widget, forms.Textarea):
            field.widget.attrs["rows"] = 4
        make_widget = NATIVE_WIDGETS.get(type(field))
        if make_widget and not field.widget.is_hidden:
            field.widget = make_widget()
            field.widget.is_required = field.required


def field_of(form: forms.BaseForm, name: str, kind: type[Kind]) -> Kind:
    """The form's field as the kind it is, so that what only this kind has can be set."""
    field = form.fields[name]
    if not isinstance(field, kind):
        raise TypeError(f"{name} is no {kind.__name__}")
    return field


def choice_field(form: forms.BaseForm, name: str) -> forms.ChoiceField:
    return field_of(form, name, forms.ChoiceField)


def rows_field(form: forms.BaseForm, name: str) -> forms.ModelChoiceField:
    return field_of(form, name, forms.ModelChoiceField)


def show_unit(field: forms.Field, label: str) -> None:
    """Have the page print a unit beside the box."""
    field.unit = label  # type: ignore[attr-defined]  # read by the form's template only


class WeekdaysField(forms.TypedMultipleChoiceField):
    """Weekdays as check boxes; cleans to a list of whole numbers, 0 for Monday."""

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("widget", forms.CheckboxSelectMultiple)
        super().__init__(choices=list(enumerate(WEEKDAYS)), coerce=int, **kwargs)


class RowsField(forms.ModelMultipleChoiceField):
    """Several rows to tick. A number too long for any row is a wrong choice, not a crash of the database."""

    def clean(self, value: Any) -> Any:
        long = [str(choice) for choice in value or () if len(str(choice)) > LONGEST_KEY]
        if long:
            raise ValidationError(self.error_messages["invalid_choice"], "invalid_choice", {"value": long[0][:20]})
        return super().clean(value)


class RegisterForm(QuantityModelForm):
    """A row of the register. `parent` names what the row stands on: the view sets it, nobody types it.

    most: by field the largest figure, in SI, that can be meant; above it a unit or a digit slipped.
    """

    parent: ClassVar[str] = ""
    most: ClassVar[dict[str, float]] = {}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        use_native_pickers(self.fields)
        for name, largest in self.most.items():
            self.fields[name].validators.append(MaxValueValidator(largest))

    def _get_validation_exclusions(self) -> set[str]:
        # A model form skips every constraint that names a field it does not show. The parent is set and must count.
        return super()._get_validation_exclusions() - {self.parent}  # type: ignore[misc]  # the stubs leave out this method of ModelForm

    def _update_errors(self, errors: ValidationError) -> None:
        # What is wrong with the parent has no field to stand beside: it goes to the top of the form.
        by_field = getattr(errors, "error_dict", {})
        if self.parent in by_field and self.parent not in self.fields:
            by_field.setdefault(NON_FIELD_ERRORS, []).extend(by_field.pop(self.parent))
        super()._update_errors(errors)  # type: ignore[misc]  # the stubs leave out this method of ModelForm
