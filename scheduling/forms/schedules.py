"""Forms of the watering pages: what to compute, a program and its steps, pauses, the office's week."""

import calendar
import datetime as dt
from typing import Any

from django import forms
from django.utils import timezone

from scheduling.actions.programs import StepChange
from scheduling.models import ProgramStep, SeasonSchedule, WateringPause
from scheduling.queries.register import window_min
from sites.forms.base import RowsField, rows_field, use_native_pickers

LONGEST_RUN_MIN = 600
THIS_WEEK = "week"
WHEN = [(THIS_WEEK, "this week, by the weather"), *((str(n), calendar.month_name[n]) for n in range(1, 13))]


KEEP, FIT = "keep", "fit"


class ComputeForm(forms.Form):
    month = forms.ChoiceField(choices=WHEN, initial=THIS_WEEK, label="Programs for")
    programs = forms.ChoiceField(
        choices=[(KEEP, "as they are, with new minutes"), (FIT, "fitted again")],
        initial=KEEP,
        required=False,
        label="Programs shaped by hand",
    )

    def __init__(self, *args: Any, own_programs: bool = True, **kwargs: Any) -> None:
        """own_programs: whether a person shaped programs of this site, so that there is a choice."""
        super().__init__(*args, **kwargs)
        if not own_programs:
            del self.fields["programs"]

    def clean_month(self) -> int | None:
        """The month asked for, None for this week."""
        chosen = self.cleaned_data["month"]
        return None if chosen == THIS_WEEK else int(chosen)


class StepForm(forms.ModelForm):
    class Meta:
        model = ProgramStep
        fields = ["run_time_min", "cycles", "soak_min", "enabled", "as_computed"]
        labels = {
            "run_time_min": "Minutes",
            "soak_min": "Soak, min",
            "enabled": "On",
            "as_computed": "As computed",
        }
        widgets = {
            "run_time_min": forms.NumberInput(attrs={"step": "any", "min": 0, "inputmode": "decimal"}),
            "soak_min": forms.NumberInput(attrs={"step": "any", "min": 0, "inputmode": "decimal"}),
        }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name in ("run_time_min", "soak_min"):
            if self.initial.get(name) is not None and float(self.initial[name]).is_integer():
                self.initial[name] = int(self.initial[name])
        for name, field in self.fields.items():
            field.widget.attrs["aria-label"] = f"{self.fields[name].label}, {self.instance.zone}"

    def clean_run_time_min(self) -> float:
        minutes = self.cleaned_data["run_time_min"]
        if not 0 < minutes <= LONGEST_RUN_MIN:
            raise forms.ValidationError(
                f"More than 0 and at most {LONGEST_RUN_MIN} minutes. To skip the zone, take the tick off."
            )
        return minutes

    def clean_cycles(self) -> int:
        cycles = self.cleaned_data["cycles"]
        if not 1 <= cycles <= 20:
            raise forms.ValidationError("1 to 20 cycles.")
        return cycles

    def clean_soak_min(self) -> float:
        soak = self.cleaned_data["soak_min"]
        if not 0 <= soak <= 240:
            raise forms.ValidationError("0 to 240 minutes.")
        return soak

    def clean(self) -> dict:
        cleaned = super().clean() or self.cleaned_data
        if cleaned.get("cycles", 1) > 1 and cleaned.get("soak_min") == 0:
            self.add_error("soak_min", "Several cycles need a soak between them.")
        if cleaned.get("enabled") and not self.errors:
            self._refuse_longer_than_a_night(cleaned)
        return cleaned

    def _refuse_longer_than_a_night(self, cleaned: dict) -> None:
        takes = cleaned["run_time_min"] + (cleaned["cycles"] - 1) * cleaned["soak_min"]
        window = window_min(self.instance.program.schedule.site)
        if takes > window:
            soaks = " with its soaks" if cleaned["cycles"] > 1 else ""
            self.add_error(
                "run_time_min", f"Takes {takes:.0f} min{soaks}, the site's watering window has {window} min."
            )


StepFormSet = forms.modelformset_factory(ProgramStep, form=StepForm, extra=0)


def step_changes(steps: "forms.BaseModelFormSet[ProgramStep, StepForm]") -> list[StepChange]:
    """The valid formset as plain changes."""
    return [
        StepChange(
            pk=form.instance.pk,
            run_time_min=form.cleaned_data["run_time_min"],
            cycles=form.cleaned_data["cycles"],
            soak_min=form.cleaned_data["soak_min"],
            enabled=form.cleaned_data["enabled"],
            as_computed=form.cleaned_data["as_computed"],
        )
        for form in steps.forms
    ]


class PauseForm(forms.ModelForm):
    class Meta:
        model = WateringPause
        fields = ["starts_on", "ends_on", "reason"]
        labels = {"starts_on": "First day", "ends_on": "Last day"}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        use_native_pickers(self.fields)

    def clean(self) -> dict:
        cleaned = super().clean() or self.cleaned_data
        first, last = cleaned.get("starts_on"), cleaned.get("ends_on")
        if first and last and last < first:
            self.add_error("ends_on", "The pause must end on or after the day it starts.")
        return cleaned


class AppliedForm(forms.Form):
    applied_on = forms.DateField(label="Set on", widget=forms.DateInput(format="%Y-%m-%d", attrs={"type": "date"}))

    def clean_applied_on(self) -> dt.date:
        applied_on = self.cleaned_data["applied_on"]
        if applied_on > timezone.localdate():
            raise forms.ValidationError("This day has not come yet.")
        return applied_on


class WeekFilterForm(forms.Form):
    threshold = forms.FloatField(label="Off by more than, %", min_value=0, max_value=1000)
    direction = forms.ChoiceField(
        choices=[("all", "over or under"), ("over", "too much water"), ("under", "too little water")]
    )


class WeekActionForm(forms.Form):
    """What to do with the chosen sites: publish, put on the next visit's sheet, or pause watering, here or at all."""

    use_required_attribute = False
    PUBLISH, VISIT, PAUSE, PAUSE_ALL = "publish", "visit", "pause", "pause_all"
    act = forms.ChoiceField(choices=[(act, act) for act in (PUBLISH, VISIT, PAUSE, PAUSE_ALL)])
    draft = RowsField(
        queryset=SeasonSchedule.objects.none(), error_messages={"required": "Choose at least one site."}
    )
    starts_on = forms.DateField(label="Pause from")
    ends_on = forms.DateField(label="Until, this day included")
    reason = forms.CharField(max_length=120)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        use_native_pickers(self.fields)
        # Also drafts that were published since: the action answers for them in words.
        rows_field(self, "draft").queryset = SeasonSchedule.objects.select_related("site").defer("basis")
        if self.data.get("act") in (self.PUBLISH, self.VISIT):
            for name in ("starts_on", "ends_on", "reason"):
                self.fields[name].required = False
        if self.data.get("act") == self.PAUSE_ALL:
            self.fields["draft"].required = False

    @property
    def pauses(self) -> bool:
        """Watering is to stop, at the chosen sites or at all."""
        return self.data.get("act") in (self.PAUSE, self.PAUSE_ALL)

    def clean(self) -> dict:
        cleaned = super().clean() or self.cleaned_data
        first, last = cleaned.get("starts_on"), cleaned.get("ends_on")
        if self.pauses and first and last and last < first:
            self.add_error("ends_on", "The pause must end on or after the day it starts.")
        return cleaned


class ResumeForm(forms.Form):
    """Which pause of the week's list is to end: its days and its reason name it."""

    starts_on = forms.DateField()
    ends_on = forms.DateField()
    reason = forms.CharField(max_length=120, strip=False)
