"""What all forms of the register share."""

from collections.abc import Callable
from typing import Any, TypeVar

from django import forms
from django.core.exceptions import ValidationError
from django.db.models import Model

from sites.forms.ruled import RuledForm

Kind = TypeVar("Kind", bound=forms.Field)
LONGEST_KEY = 18  # digits that fit a row's 64-bit number

# The browser's own pickers take and give ISO dates and 24-hour times only.
NATIVE_WIDGETS: dict[type[forms.Field], Callable[[], forms.Widget]] = {
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


class RowsField(forms.ModelMultipleChoiceField):
    """Several rows to tick. A number too long for any row is a wrong choice, not a crash of the database."""

    def clean(self, value: Any) -> Any:
        long = [str(choice) for choice in value or () if len(str(choice)) > LONGEST_KEY]
        if long:
            raise ValidationError(self.error_messages["invalid_choice"], "invalid_choice", {"value": long[0][:20]})
        return super().clean(value)


class OwnForm(forms.Form):
    """A form that is not drawn from a table; `instance` is the row once it is written."""

    instance: Model


class RegisterForm(RuledForm):
    """A row of the register. What it stands on is set by the view, nobody types it."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        use_native_pickers(self.fields)
