from django import forms
from django.core.validators import validate_email

from jobs.models import VisitKind
from reports.models import BulkJob
from sites.models import Site


class SendForm(forms.Form):
    """Who gets the season report, one address a line."""

    recipients = forms.CharField(
        label="Send to",
        widget=forms.Textarea(attrs={"rows": 3, "autocomplete": "email"}),
        help_text="One e-mail address a line. An address that already got this version is not written to again.",
    )

    def clean_recipients(self) -> list[str]:
        addresses = [line.strip() for line in self.cleaned_data["recipients"].replace(",", "\n").splitlines()]
        addresses = [address for address in addresses if address]
        wrong = [address for address in addresses if not _is_address(address)]
        if wrong:
            raise forms.ValidationError(f"Not an e-mail address: {', '.join(wrong)}")
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
        wanted = super().clean()
        first, last = wanted.get("first_day"), wanted.get("last_day")
        if first and last and last < first:
            self.add_error("last_day", "The last day lies before the first.")
        return wanted
