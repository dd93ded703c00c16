from django import forms
from django.core.validators import MaxLengthValidator, validate_email
from django.http import QueryDict

from jobs.models import VisitKind
from reports.documents.words import Language
from reports.models import BulkJob
from sites.forms.base import choice_field
from sites.models import Site


class SendForm(forms.Form):
    """Who gets the season report, one address a line."""

    recipients = forms.CharField(
        label="Send to",
        widget=forms.Textarea(attrs={"rows": 3, "autocomplete": "email"}),
        help_text="One email address a line. An address that already got this version is not written to again.",
    )

    def clean_recipients(self) -> list[str]:
        addresses = [line.strip() for line in self.cleaned_data["recipients"].replace(",", "\n").splitlines()]
        addresses = [address for address in addresses if address]
        wrong = [address for address in addresses if not _is_address(address)]
        if wrong:
            raise forms.ValidationError(f"Not an email address: {', '.join(wrong)}")
        return addresses


def _is_address(text: str) -> bool:
    try:
        validate_email(text)
    except forms.ValidationError:
        return False
    return True


def suggested_recipients(site: Site) -> str:
    """The client's own address, if the client wants reports by mail."""
    client = site.client
    return client.email if client.wants_season_report_by_email else ""


class SpanForm(forms.Form):
    """First and last day of a list."""

    first_day = forms.DateField(label="From", widget=forms.DateInput(format="%Y-%m-%d", attrs={"type": "date"}))
    last_day = forms.DateField(label="To", widget=forms.DateInput(format="%Y-%m-%d", attrs={"type": "date"}))

    def clean(self) -> dict:
        cleaned = super().clean() or {}
        first, last = cleaned.get("first_day"), cleaned.get("last_day")
        if first and last and last < first:
            self.add_error("last_day", "The last day must not lie before the first.")
        return cleaned


class LinkForm(forms.Form):
    """For whom a link is made."""

    label = forms.CharField(label="For whom", max_length=120, required=False, help_text="Only the office sees this.")


class AnswerForm(forms.Form):
    """The client's answer to a proposal, in the words of the client's language."""

    MOST = {"name": 120, "note": 500}

    name = forms.CharField(max_length=MOST["name"], widget=forms.TextInput(attrs={"autocomplete": "name"}))
    choice = forms.ChoiceField(choices=[("accept", ""), ("decline", "")], widget=forms.RadioSelect)
    note = forms.CharField(max_length=MOST["note"], required=False, widget=forms.Textarea(attrs={"rows": 3}))
    confirm = forms.BooleanField()

    def __init__(self, data: QueryDict | None = None, *, words: Language, client: str, total: str) -> None:
        super().__init__(data)
        self.fields["name"].label = words.say("proposal.name")
        self.fields["note"].label = words.say("proposal.answer_note")
        self.fields["confirm"].label = words.say("proposal.confirm", client=client)
        choice = choice_field(self, "choice")
        choice.label = words.say("proposal.choice")
        choice.choices = [
            ("accept", words.say("proposal.accept", total=total)),
            ("decline", words.say("proposal.decline")),
        ]
        for name in ("name", "choice", "confirm"):
            self.fields[name].error_messages["required"] = words.say(f"proposal.need_{name}")
        choice.error_messages["invalid_choice"] = words.say("proposal.need_choice")
        for name, most in self.MOST.items():
            for validator in self.fields[name].validators:
                if isinstance(validator, MaxLengthValidator):
                    validator.message = words.say("proposal.long", most=most)

    @property
    def accepted(self) -> bool:
        return self.cleaned_data["choice"] == "accept"


class OfficeAnswerForm(forms.Form):
    """An answer that came by telephone, letter or mail."""

    name = forms.CharField(label="Who answered", max_length=120)
    choice = forms.ChoiceField(
        label="Answer",
        choices=[("accept", "accepted: it is an order"), ("decline", "declined")],
        widget=forms.RadioSelect,
    )
    note = forms.CharField(
        label="How and what was said", max_length=500, widget=forms.Textarea(attrs={"rows": 2}), help_text="Kept."
    )


class BulkForm(forms.Form):
    """What a bulk job is to print."""

    kind = forms.ChoiceField(
        label="What",
        choices=[choice for choice in BulkJob.Kind.choices if choice[0] != BulkJob.Kind.SEND],
        initial=BulkJob.Kind.SHEETS,
    )
    shape = forms.ChoiceField(
        label="As", choices=[choice for choice in BulkJob.Shape.choices if choice[0] != BulkJob.Shape.NONE]
    )
    season_year = forms.IntegerField(label="Season", min_value=2000, max_value=2100)
    visit_kind = forms.ChoiceField(
        label="Kind of visit", choices=[("", "all"), *VisitKind.choices], required=False, help_text="Sheets only."
    )
    first_day = forms.DateField(
        label="Planned from", required=False, widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
    )
    last_day = forms.DateField(
        label="Planned until",
        required=False,
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
        help_text="Both days included. Empty: all of the season. Sheets only.",
    )

    def clean(self) -> dict:
        wanted = super().clean() or self.cleaned_data
        first, last = wanted.get("first_day"), wanted.get("last_day")
        if first and last and last < first:
            self.add_error("last_day", "The last day lies before the first.")
        return wanted
