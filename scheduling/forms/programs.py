"""A program's name, starts and days, held to what the site permits."""

import datetime as dt
from typing import Any

from django import forms

from scheduling.models import Program
from scheduling.queries.programs import forbidden_weekdays
from sites.forms.base import use_native_pickers
from sites.forms.ruled import WeekdaysField
from sites.models import Site
from sites.models.places import WEEKDAYS

MOST_STARTS = 6


class ClockTimesField(forms.CharField):
    """Clock times with commas or spaces between them; cleans to a list of HH:MM."""

    def prepare_value(self, value: object) -> object:
        return ", ".join(value) if isinstance(value, list) else value

    def clean(self, value: str) -> list[str]:
        words = (super().clean(value) or "").replace(",", " ").split()
        times = []
        for word in words:
            try:
                time = dt.datetime.strptime(word.replace(".", ":"), "%H:%M").time()  # noqa: DTZ007 - a clock time only
            except ValueError:
                raise forms.ValidationError(f"{word} is not a clock time. Write 05:30.") from None
            times.append(f"{time:%H:%M}")
        return sorted(set(times))


class ProgramForm(forms.ModelForm):
    further_starts = ClockTimesField(
        label="Further starts", required=False, help_text="On the same days, e.g. 06:30, 21:00."
    )
    weekdays = WeekdaysField(label="Starts on", required=False)

    class Meta:
        model = Program
        fields = [
            "name",
            "priority",
            "starts_at",
            "further_starts",
            "day_rule",
            "weekdays",
            "every_n_days",
            "counted_from",
            "active_from",
            "active_until",
            "enabled",
        ]
        labels = {"starts_at": "Start time", "every_n_days": "Every so many days", "enabled": "On"}
        help_texts = {"every_n_days": "For the rule \u201cevery n days\u201d."}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        use_native_pickers(self.fields)
        # A form that a page or a program sends without the newer fields means what it meant before they came.
        for name in ("day_rule", "every_n_days", "priority"):
            self.fields[name].required = False
        self.site: Site = self.instance.schedule.site
        window = f"{self.site.watering_window_start:%H:%M} to {self.site.watering_window_end:%H:%M}"
        self.fields["starts_at"].help_text = f"Watering is allowed from {window}."

    def clean_starts_at(self) -> dt.time:
        start = self.cleaned_data["starts_at"]
        self._refuse_outside(start)
        return start

    def clean_further_starts(self) -> list[str]:
        further = self.cleaned_data["further_starts"]
        if len(further) >= MOST_STARTS:
            raise forms.ValidationError(f"At most {MOST_STARTS} starts a day.")
        for text in further:
            self._refuse_outside(dt.time.fromisoformat(text))
        first = self.cleaned_data.get("starts_at")
        return [text for text in further if first is None or text != f"{first:%H:%M}"]

    def clean_day_rule(self) -> str:
        return self.cleaned_data["day_rule"] or Program.DayRule.WEEKDAYS

    def clean_every_n_days(self) -> int:
        days = self.cleaned_data["every_n_days"]
        return self.instance.every_n_days if days is None else days

    def clean_priority(self) -> int:
        priority = self.cleaned_data["priority"]
        return self.instance.priority if priority is None else priority

    def _refuse_outside(self, start: dt.time) -> None:
        opens, closes = self.site.watering_window_start, self.site.watering_window_end
        inside = opens <= start < closes if opens < closes else start >= opens or start < closes
        if opens != closes and not inside:
            raise forms.ValidationError(
                f"Outside the permitted hours, {opens:%H:%M} to {closes:%H:%M}: {start:%H:%M}."
            )

    def clean(self) -> dict:
        cleaned = super().clean() or self.cleaned_data
        rule, days = cleaned.get("day_rule"), cleaned.get("weekdays")
        if rule == Program.DayRule.WEEKDAYS:
            if not days and "weekdays" not in self.errors:
                self.add_error("weekdays", "Choose at least one day.")
            else:
                self._refuse_forbidden_weekdays(cleaned)
        else:
            cleaned["weekdays"] = days or self.instance.weekdays
            if rule == Program.DayRule.INTERVAL and not cleaned.get("counted_from"):
                cleaned["counted_from"] = self.instance.schedule.week_starts_on
            self._refuse_other_rule(cleaned)
        first, last = cleaned.get("active_from"), cleaned.get("active_until")
        if first and last and last < first:
            self.add_error("active_until", "The last day must not lie before the first.")
        return cleaned

    def _refuse_forbidden_weekdays(self, cleaned: dict) -> None:
        start, days = cleaned.get("starts_at"), cleaned.get("weekdays")
        wrong = forbidden_weekdays(self.site, start, days) if start is not None and days else []
        if wrong:
            names = ", ".join(WEEKDAYS[day] for day in wrong)
            self.add_error("weekdays", f"The site permits no watering that starts on {names} at {start:%H:%M}.")

    def _refuse_other_rule(self, cleaned: dict) -> None:
        """An interval at a site with odd or even dates is let be: it skips the other dates. One of whole weeks keeps
        to the weekday it is counted from."""
        permitted, rule = self.site.permitted_days, cleaned.get("day_rule")
        parities = (Program.DayRule.ODD, Program.DayRule.EVEN)
        if permitted == Site.PermittedDays.WEEKDAYS:
            start, since = cleaned.get("starts_at"), cleaned.get("counted_from")
            if rule != Program.DayRule.INTERVAL or (cleaned.get("every_n_days") or 1) % 7:
                self.add_error("day_rule", "The site permits watering on named weekdays only.")
            elif since and start and forbidden_weekdays(self.site, start, [since.weekday()]):
                self.add_error("counted_from", f"The site permits no watering on a {WEEKDAYS[since.weekday()]}.")
        elif permitted in parities and rule in parities and rule != permitted:
            self.add_error("day_rule", f"The site permits watering on {permitted} dates only.")
