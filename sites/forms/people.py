"""The firm's settings and the accounts of the people who sign in."""

from typing import Any

from django import forms
from django.contrib.auth.password_validation import validate_password

from sites.actions.people import may_manage
from sites.forms.base import RegisterForm, choice_field, rows_field
from sites.forms.places import TimeZoneField
from sites.models import Client, Firm, Role, User

YARD_ERRORS = {
    "yard_latitude": dict.fromkeys(("min_value", "max_value"), "Latitude lies between -90 and 90 degrees."),
    "yard_longitude": dict.fromkeys(("min_value", "max_value"), "Longitude lies between -180 and 180 degrees."),
}


class FirmForm(RegisterForm):
    time_zone = TimeZoneField(help_text="Times on pages are shown in this zone.")

    class Meta:
        model = Firm
        fields = [
            "name",
            "address",
            "phone",
            "email",
            "licence_text",
            "units",
            "locale",
            "paper",
            "currency",
            "time_zone",
            "yard_latitude",
            "yard_longitude",
        ]
        labels = {"units": "Units on screen and paper", "licence_text": "Registration number"}
        help_texts = {"yard_latitude": "Where technicians start, in decimal degrees; south is negative."}
        error_messages = YARD_ERRORS

    def clean_currency(self) -> str:
        code = self.cleaned_data["currency"].upper()
        if len(code) != 3 or not code.isascii() or not code.isalpha():
            raise forms.ValidationError("Three letters, for example USD or EUR.")
        return code


class PersonForm(RegisterForm):
    """An account as `by` may make or change it: roles that `by` may not give are not offered."""

    password = forms.CharField(
        required=False,
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}, render_value=False),
    )

    class Meta:
        model = User
        fields = ["username", "first_name", "last_name", "email", "phone", "role", "client", "is_active"]
        labels = {"username": "Name to sign in with", "is_active": "May sign in"}
        help_texts = {"is_active": "", "client": "Only for the role client: whose sites this person sees."}

    def __init__(self, *args: Any, by: User, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.by = by
        choice_field(self, "role").choices = [choice for choice in Role.choices if may_manage(by=by, role=choice[0])]
        self.fields["role"].error_messages["invalid_choice"] = "Only an owner may give this role."
        rows_field(self, "client").queryset = Client.objects.filter(archived_at=None)
        rows_field(self, "client").empty_label = "no client"
        new = self.instance.pk is None
        self.fields["password"].required = new
        self.fields["password"].label = "First password" if new else "New password"
        self.fields["password"].help_text = (
            "At least 12 characters. Tell the person to change it after signing in."
            if new
            else "Leave empty to keep the password as it is."
        )

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        role, client = cleaned.get("role"), cleaned.get("client")
        if role == Role.CLIENT and "client" in cleaned and client is None:
            self.add_error("client", "Choose the client whose sites this person may see.")
        if role and role != Role.CLIENT and client is not None:
            self.add_error("client", "Only a person with the role client belongs to a client.")
        if self.instance.pk == self.by.pk and cleaned.get("is_active") is False:
            self.add_error("is_active", "This is your own account; someone else has to close it.")
        return cleaned

    def _post_clean(self) -> None:
        super()._post_clean()
        # After the instance has the typed names: a password must not resemble them.
        password = self.cleaned_data.get("password")
        if password:
            try:
                validate_password(password, self.instance)
            except forms.ValidationError as error:
                self.add_error("password", error)
