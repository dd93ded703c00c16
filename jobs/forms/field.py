"""Forms of the field pages. Numbers are text fields with a number pad, so that a slip of the thumb comes back as
typed: a browser drops what it cannot read from a `type=number` field without telling anyone."""

import re
import uuid
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from jobs.actions.field import VisitEnd
from jobs.core.checklists import AIR_PRESSURE_LIMIT
from jobs.core.rulebook import AIR, MEASUREMENT, NO_NUMBER, NUMBERS, Closes, Opens, step_number
from jobs.models import ChecklistItem, Fault, ValveMeasurement, Visit
from jobs.queries.field import schedule_to_set
from sites.actions.photos import ACCEPTED_TYPES
from sites.core.units import format_quantity
from sites.forms.base import RowsField, choice_field, rows_field
from sites.forms.quantities import QuantityField
from sites.forms.ruled import RuledForm, refuser
from sites.models import Controller, Firm, Site, Valve, WaterSupply, Zone

NUMBER_PAD = {"inputmode": "decimal", "autocomplete": "off"}


def with_point(typed: str) -> str:
    """A lone decimal comma as a point: number pads of many countries have no point.

    "1,000" stays as it is and is refused, since it may mean a thousand or one.
    """
    return re.sub(r"^(\s*-?\d+),(\d{1,2}|\d{4,})(\s*)$", r"\1.\2\3", typed)


def _with_points(data: Any, names: list[str]) -> Any:
    if data is None:
        return None
    data = data.copy()
    for name in names:
        if name in data:
            data[name] = with_point(data[name])
    return data


class MeasurementForm(RuledForm):
    """The figures of one valve; what air was used is asked on a winterization only."""

    uuid = forms.UUIDField(widget=forms.HiddenInput)

    class Meta:
        model = ValveMeasurement
        fields = MEASUREMENT.names
        widgets = {"note": forms.Textarea(attrs={"rows": 2})}

    def __init__(self, data: Any = None, *, winter: bool = False, **kwargs: Any) -> None:
        super().__init__(_with_points(data, [*NUMBERS]), **kwargs)
        self.fields["uuid"].initial = uuid.uuid4
        self.numbers = [name for name in NUMBERS if winter or name not in AIR]
        if not winter:
            for name in AIR:
                del self.fields[name]
        for name in self.numbers:
            field = self.fields[name]
            field.widget = forms.TextInput(attrs=NUMBER_PAD)
            field.error_messages["invalid"] = NO_NUMBER
        for name, choices in (("opens", Opens), ("closes", Closes)):
            self.fields[name] = _tried(choices.pairs(), name.capitalize())

    def _post_clean(self) -> None:
        self.instance = ValveMeasurement()  # a row of its own: nothing of it stands in the register yet
        super()._post_clean()

    def shown(self, name: str, value: float | None) -> str | None:
        """A stored figure as it stands beside the field, in the field's unit."""
        if value is None:
            return None
        field = MEASUREMENT[name]
        if field.quantity:
            return format_quantity(value, field.quantity, self.system, with_unit=False)
        return f"{value:.{field.decimals}f}"

    @property
    def values(self) -> dict[str, Any]:
        return {name: self.cleaned_data[name] for name in self._meta.fields or () if name in self.fields}


def _tried(choices: list[tuple[str, str]], label: str) -> forms.ChoiceField:
    return forms.ChoiceField(
        choices=[*choices, ("", "not tried")], label=label, required=False, widget=forms.RadioSelect, initial=""
    )


class StepForm(forms.Form):
    """The answer to one step that is not a plain tick."""

    def __init__(self, item: ChecklistItem, data: Any = None, **kwargs: Any) -> None:
        super().__init__(_with_points(data, ["number"]), **kwargs)
        self.item = item
        if item.answer == ChecklistItem.Answer.NUMBER:
            self.fields["number"] = _number(item)
        elif item.answer == ChecklistItem.Answer.CHOICE:
            self.fields["text"] = forms.ChoiceField(choices=item.options, label=item.text, widget=forms.RadioSelect)
        elif item.answer == ChecklistItem.Answer.TEXT:
            self.fields["text"] = forms.CharField(
                label=item.text, max_length=2000, widget=forms.Textarea(attrs={"rows": 2})
            )
        if item.key == AIR_PRESSURE_LIMIT:
            self.fields["acknowledged"] = forms.BooleanField(
                label="I read the limits, and the regulator is set to this, its outlet shut.",
                error_messages={"required": "Tick this when the regulator is set."},
            )

    @property
    def answer(self) -> dict[str, Any]:
        return {"number": self.cleaned_data.get("number"), "text": self.cleaned_data.get("text", "")}


def _number(item: ChecklistItem) -> forms.Field:
    system = Firm.current().units
    rule = step_number(item.unit_kind)
    kwargs: dict[str, Any] = {"label": item.text, "widget": forms.TextInput(attrs=NUMBER_PAD)}
    kwargs["validators"] = [refuser(rule, system)]
    if not item.unit_kind:
        return forms.FloatField(**kwargs)
    field = QuantityField(quantity=item.unit_kind, **kwargs)
    field.use_system(system)
    return field


class SeveralFilesInput(forms.FileInput):
    allow_multiple_selected = True


class SeveralFilesField(forms.FileField):
    """Any number of files; each is looked at by the action that stores it, not here."""

    widget = SeveralFilesInput

    def clean(self, data: Any, initial: Any = None) -> list:
        return [upload for upload in data or [] if upload]


def photos_field() -> SeveralFilesField:
    return SeveralFilesField(
        label="Photos",
        required=False,
        help_text="Several are fine.",
        widget=SeveralFilesInput(attrs={"accept": ",".join(ACCEPTED_TYPES)}),
    )


PLACES = {"valve": Valve, "zone": Zone, "controller": Controller, "supply": WaterSupply}


class FaultForm(forms.Form):
    uuid = forms.UUIDField(widget=forms.HiddenInput)
    place = forms.ChoiceField(label="Where", required=False)
    kind = forms.ChoiceField(label="What is wrong", choices=[("", "Choose"), *Fault.Kind.choices])
    severity = forms.ChoiceField(label="Severity", choices=Fault.Severity.choices, widget=forms.RadioSelect)
    description = forms.CharField(
        label="In words", required=False, max_length=4000, widget=forms.Textarea(attrs={"rows": 3})
    )
    part_needed = forms.CharField(label="Part needed", required=False, max_length=120)
    photos = photos_field()
    repaired_now = forms.BooleanField(label="Repaired on the spot", required=False)
    repair_note = forms.CharField(label="What was done", required=False, max_length=300)

    def __init__(self, site: Site, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["uuid"].initial = uuid.uuid4
        self.rows = _places(site)
        choice_field(self, "place").choices = [("", "The site in general"), *_grouped(self.rows)]

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        if cleaned.get("repaired_now") and not cleaned.get("repair_note", "").strip():
            self.add_error("repair_note", "Say what was done.")
        if not cleaned.get("repaired_now") and cleaned.get("repair_note", "").strip():
            self.add_error("repair_note", "Tick that it was repaired on the spot, or clear this field.")
        if cleaned.get("kind") == Fault.Kind.OTHER and not cleaned.get("description", "").strip():
            self.add_error("description", "Say in words what is wrong.")
        return cleaned

    @property
    def place_row(self) -> Any:
        return self.rows.get(self.cleaned_data["place"])


def _places(site: Site) -> dict[str, Any]:
    """Only what stands on this site can be chosen, whatever is posted."""
    rows = {
        "valve": Valve.objects.filter(controller__site=site).select_related("controller"),
        "zone": Zone.objects.filter(site=site),
        "controller": Controller.objects.filter(site=site),
        "supply": WaterSupply.objects.filter(site=site),
    }
    return {f"{word}-{row.pk}": row for word, found in rows.items() for row in found}


def _grouped(rows: dict[str, Any]) -> list[tuple[str, list[tuple[str, str]]]]:
    groups: dict[str, list[tuple[str, str]]] = {}
    for key, row in rows.items():
        groups.setdefault(f"{key.split('-')[0].capitalize()}", []).append((key, str(row)))
    return list(groups.items())


class PhotosForm(forms.Form):
    photos = photos_field()

    def clean_photos(self) -> list:
        uploads = self.cleaned_data["photos"]
        if not uploads:
            raise ValidationError("Choose at least one photo.")
        return uploads


class CloseFaultForm(forms.Form):
    """Repaired, or dismissed by the office: either way with words."""

    note = forms.CharField(max_length=300, widget=forms.Textarea(attrs={"rows": 2}))

    def __init__(self, *args: Any, label: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["note"].label = label


LOCAL_TIME = "%Y-%m-%dT%H:%M"


def _local_time(label: str, **kwargs: Any) -> forms.DateTimeField:
    widget = forms.DateTimeInput(format=LOCAL_TIME, attrs={"type": "datetime-local"})
    return forms.DateTimeField(label=label, input_formats=[LOCAL_TIME, f"{LOCAL_TIME}:%S"], widget=widget, **kwargs)


class FinishForm(forms.Form):
    """Build it inside the site's time zone: typed times are the site's."""

    notes = forms.CharField(
        label="Notes for the office and the report",
        required=False,
        max_length=4000,
        widget=forms.Textarea(attrs={"rows": 3}),
    )
    accept_reason = forms.CharField(label="Why these are left out", required=False, max_length=400)
    set_at = RowsField(
        label="Schedule set at the controller",
        queryset=Controller.objects.none(),
        required=False,
        widget=forms.CheckboxSelectMultiple,
    )
    signed_by = forms.CharField(label="Client's name at sign-off", required=False, max_length=120)
    started_at = _local_time("Started on site")
    finished_at = _local_time("Finished on site", required=False, help_text="Empty: now.")
    times_reason = forms.CharField(
        label="Why the times are changed", required=False, max_length=200, help_text="Only if you changed a time."
    )

    def __init__(self, visit: Visit, missing: list[str], *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        # To the minute, as the page shows it, so that an untouched field counts as unchanged.
        assert visit.started_at  # only a started visit is finished
        self.fields["started_at"].initial = visit.started_at.replace(second=0, microsecond=0)
        if not missing:
            del self.fields["accept_reason"]
        to_set = schedule_to_set(visit)
        if to_set and to_set.waiting:
            rows_field(self, "set_at").queryset = Controller.objects.filter(pk__in=[row.pk for row in to_set.waiting])
            self.fields[
                "set_at"
            ].help_text = f"Season {to_set.schedule.season_year}, revision {to_set.schedule.revision}."
        else:
            del self.fields["set_at"]

    @property
    def outcome(self) -> VisitEnd:
        """What `finish_visit` takes. A start left as shown is no correction: the recorded seconds stay."""
        cleaned = dict(self.cleaned_data)
        cleaned["set_at_controllers"] = cleaned.pop("set_at", ())
        if "started_at" not in self.changed_data:
            cleaned["started_at"] = None
        return VisitEnd(**cleaned)


class FaultFilterForm(forms.Form):
    state = forms.ChoiceField(choices=[("", "any state"), *Fault.State.choices], required=False, initial="open")
    severity = forms.ChoiceField(choices=[("", "any severity"), *Fault.Severity.choices], required=False)
    site = forms.ModelChoiceField(queryset=Site.objects.current(), required=False, empty_label="any site")
