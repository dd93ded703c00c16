from django import forms
from django.core.validators import validate_email

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
