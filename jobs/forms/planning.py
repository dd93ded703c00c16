"""What the office types to plan: windows, a plan's days, a visit's place, technicians' hours."""

from collections.abc import Sequence
from typing import Any

from django import forms
from django.core.validators import validate_comma_separated_integer_list

from jobs.core.rulebook import SERVICE_PLAN
from jobs.models import (
    Absence,
    ClosedDays,
    SeasonWindow,
    ServicePlan,
    Skill,
    TechnicianProfile,
    Visit,
    VisitKind,
    VisitTerms,
)
from jobs.queries.frost import SIDE_OF
from jobs.queries.planning import LONGEST_LUNCH_MIN, names_of
from jobs.queries.windows import CHANCES, percent
from sites.core.told import told
from sites.forms.base import RowsField, choice_field, rows_field, use_native_pickers
from sites.forms.ruled import RuledForm, WeekdaysField
from sites.models import Firm, Site, User

SHORTEST_S, USUAL_S, LONGEST_S = 2, 20, 600


class NativeForm(forms.Form):
    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        use_native_pickers(self.fields)


class NativeModelForm(RuledForm):
    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        use_native_pickers(self.fields)
        if "skills" in self.fields and not Skill.objects.exists():
            del self.fields["skills"]  # there is nothing to tick


class SeasonFilterForm(forms.Form):
    """Which season the board shows, and whose. Anything that cannot be meant is ignored, not refused."""

    year = forms.IntegerField(min_value=2000, max_value=2100, required=False)
    kind = forms.ChoiceField(choices=[("", "all kinds"), *VisitKind.choices], required=False)
    technician = forms.TypedChoiceField(coerce=int, empty_value=None, required=False)

    def __init__(self, *args: Any, technicians: Sequence[User], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        choice_field(self, "technician").choices = [("", "everybody"), *names_of(technicians).items()]

    @property
    def chosen(self) -> dict[str, Any]:
        """Year, kind and the id of a technician; None or empty where nothing is chosen."""
        self.is_valid()
        return {"year": None, "kind": "", "technician": None, **self.cleaned_data}


class ServicePlanForm(NativeModelForm):
    class Meta:
        model = ServicePlan
        fields = SERVICE_PLAN.names


class SkillsField(RowsField):
    """Skills to tick; there may be none to choose from."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(Skill.objects.all(), required=False, widget=forms.CheckboxSelectMultiple, **kwargs)


class VisitTermsForm(NativeModelForm):
    """How a site wants to be visited and how frost comes there; it stands beside the service plan's form."""

    skills = SkillsField(label="Every visit here needs", help_text="On top of what its kind asks for.")

    class Meta:
        model = VisitTerms
        fields = ["preferred_technician", "preferred_weekdays", "skills", "frost_days", "frost_note"]

    def __init__(self, *args: Any, technicians: Sequence[User], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        chosen = self.instance.preferred_technician
        people = [*technicians, *([chosen] if chosen and chosen not in technicians else [])]
        self.fields["preferred_technician"] = TechnicianChoice(
            people, label="Preferred technician", required=False, empty="no preference"
        )
        self.fields["frost_days"].required = False
        self.order_fields(self.Meta.fields)

    def clean_frost_days(self) -> int:
        """Empty means as the record says."""
        return self.cleaned_data["frost_days"] or 0

    @property
    def chosen_skills(self) -> list[Skill]:
        return list(self.cleaned_data.get("skills", ()))


OWN_CHANCE_HELP = (
    "From the freeze record of the site's station, for the site's elevation: a hard freeze outside the site's dates "
    "is at most this likely. The dates above stay the outer bounds."
)


class WindowForm(NativeModelForm):
    chance = forms.TypedChoiceField(
        coerce=float, empty_value=None, required=False, label="Own date for each site", help_text=OWN_CHANCE_HELP
    )

    class Meta:
        model = SeasonWindow
        fields = ["opens_on", "due_on", "chance", "reason"]
        labels = {"opens_on": "Not before", "due_on": "No later than"}
        help_texts = {"reason": "What the dates are based on, so that a person can check them."}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if self.instance.kind not in SIDE_OF:
            del self.fields["chance"]
        else:
            self._offer_chances()
        self._stored_reason = self.initial.get("reason") or ""
        self.initial["reason"] = told(self._stored_reason, Firm.current().units)

    def _offer_chances(self) -> None:
        known = {*CHANCES, *([self.instance.chance] if self.instance.chance else [])}
        choices = [(chance, f"yes, accepting a chance of {percent(chance)}") for chance in sorted(known)]
        choice_field(self, "chance").choices = [("", "no, the window's dates for all"), *choices]

    def clean_reason(self) -> str:
        """Text left as it was shown keeps its figures as figures."""
        typed = self.cleaned_data["reason"]
        return self._stored_reason if typed == self.initial["reason"] else typed

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        for name in ("opens_on", "due_on"):
            date, year = cleaned.get(name), self.instance.season_year
            if date and abs(date.year - year) > 1:
                self.add_error(name, f"This is not in or next to {year}.")
        return cleaned


class ChanceForm(forms.Form):
    """The risk the office accepts that a hard freeze comes outside the window."""

    chance = forms.TypedChoiceField(
        coerce=float, choices=[(chance, percent(chance)) for chance in CHANCES], label="Accepted chance of a freeze"
    )
    own = forms.BooleanField(required=False, label="Each site its own date")


class PlanForm(NativeForm):
    kinds = forms.MultipleChoiceField(
        choices=VisitKind.choices, widget=forms.CheckboxSelectMultiple, label="Kinds of visit"
    )
    first_day = forms.DateField(label="From")
    last_day = forms.DateField(label="To")
    keep_planned = forms.BooleanField(
        required=False, label="Leave planned visits where they are", help_text="Plan only those without a day."
    )
    spread = forms.BooleanField(
        required=False,
        label="Spread visits through their windows",
        help_text="Area by area. Mid-season checks always are; without this the others come as early as they fit.",
    )
    seconds = forms.IntegerField(
        min_value=SHORTEST_S,
        max_value=LONGEST_S,
        initial=USUAL_S,
        label="Search for at most",
        help_text="Seconds. There is a valid plan after the first few; longer searches save driving.",
    )
    seed = forms.IntegerField(
        min_value=0, max_value=2**31 - 1, initial=1, help_text="Another number tries another way to search."
    )


class TechnicianChoice(forms.ModelChoiceField):
    """Technicians who can be planned, under names no two of them share."""

    def __init__(self, technicians: Sequence[User], empty: str = "choose …", **kwargs: Any) -> None:
        self.names = names_of(technicians)
        super().__init__(User.objects.filter(pk__in=self.names), **kwargs)
        # The list is known already: no query for each of many forms on a page.
        self.choices = [("", empty), *self.names.items()]


class AskingForm(NativeForm):
    """A form whose doubts are shown once: whoever ticks `knowingly` knows them, of what was typed and no other.

    A subclass names the fields that the doubts are about in `doubted`, and its own words for the tick.
    """

    doubted: tuple[str, ...] = ()
    knowingly = forms.BooleanField(required=False, widget=forms.HiddenInput)

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        cleaned["knowingly"] = self.data.get("knowingly") == self._typed
        return cleaned

    @property
    def _typed(self) -> str:
        return " ".join(str(self.data.get(name)) for name in self.doubted)

    def ask(self) -> None:
        """Let the person say that the doubts now shown are known: about what was typed, no other."""
        box = forms.CheckboxInput(attrs={"value": self._typed}, check_test=lambda _: False)
        self.fields["knowingly"].widget = box


class AssignForm(AskingForm):
    doubted = ("technician", "planned_on")
    planned_on = forms.DateField(label="Day")

    def __init__(self, *args: Any, technicians: Sequence[User], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["technician"] = TechnicianChoice(technicians, label="Technician")
        self.fields["knowingly"].label = "Plan it anyway"
        self.order_fields(["technician", "planned_on"])


class ArrangeForm(forms.Form):
    """The order of a technician's stops after `visit` was dropped among them."""

    visit = forms.IntegerField(min_value=1, max_value=2**63 - 1)
    visits = forms.CharField(max_length=4000, validators=[validate_comma_separated_integer_list])

    def clean_visits(self) -> list[int]:
        return [int(pk) for pk in self.cleaned_data["visits"].split(",")]


class PromiseForm(AskingForm):
    doubted = ("promised_time",)
    board = forms.CharField(required=False, widget=forms.HiddenInput)
    promised_time = forms.TimeField(
        required=False, label="Promised time", help_text="Leave empty if the client was told the day only."
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["knowingly"].label = "Promise it anyway"
        self.order_fields(["board", "promised_time"])


class CancelForm(NativeForm):
    reason = forms.CharField(max_length=300, label="Why the visit is cancelled")


WINDOW_LABELS = {"opens_on": "Not before", "due_on": "No later than", "service_min": "Time on site"}


EXTRA_SKILLS = "On top of what its kind and its site ask for."


class VisitForm(NativeModelForm):
    skills = SkillsField(label="This visit needs", help_text=EXTRA_SKILLS)

    class Meta:
        model = Visit
        fields = ["opens_on", "due_on", "service_min", "instructions", "skills"]
        labels = WINDOW_LABELS

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name in ("opens_on", "due_on"):
            # The window may move while the page is open: what was not touched here must not come back as typed.
            self.fields[name].show_hidden_initial = True

    @property
    def changes(self) -> dict[str, Any]:
        """What was changed on the page as it was shown."""
        untouched = {"opens_on", "due_on"} - set(self.changed_data)
        return {name: value for name, value in self.cleaned_data.items() if name not in untouched}


class NewVisitForm(NativeModelForm):
    site = forms.ModelChoiceField(Site.objects.none())
    skills = SkillsField(label="This visit needs", help_text=EXTRA_SKILLS)

    class Meta:
        model = Visit
        fields = ["site", "kind", "opens_on", "due_on", "service_min", "instructions", "skills"]
        labels = WINDOW_LABELS

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        rows_field(self, "site").queryset = Site.objects.current()


class ProfileForm(NativeModelForm):
    working_weekdays = WeekdaysField(label="Working days", required=False)
    skills = SkillsField(
        help_text="Only what this person holds a certificate or a training for. The planner keeps to it."
    )

    class Meta:
        model = TechnicianProfile
        fields = [
            "day_starts_at",
            "day_ends_at",
            "lunch_min",
            "working_weekdays",
            "skills",
            "start_latitude",
            "start_longitude",
        ]
        labels = {
            "day_starts_at": "Day starts",
            "day_ends_at": "Day ends",
            "start_latitude": "Start and end: latitude",
            "start_longitude": "Start and end: longitude",
        }
        help_texts = {"start_longitude": "Both empty: the firm's yard."}

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        places = [cleaned.get("start_latitude"), cleaned.get("start_longitude")]
        if None in places and any(place is not None for place in places) and not self.errors:
            empty = "start_latitude" if places[0] is None else "start_longitude"
            self.add_error(empty, "Enter both latitude and longitude, or neither.")
        starts, ends = cleaned.get("day_starts_at"), cleaned.get("day_ends_at")
        if starts and ends and ends <= starts:
            self.add_error("day_ends_at", "The working day must end after it starts.")
        if (cleaned.get("lunch_min") or 0) > LONGEST_LUNCH_MIN:
            self.add_error("lunch_min", f"At most {LONGEST_LUNCH_MIN} minutes.")
        return cleaned


class SkillForm(NativeModelForm):
    kinds = forms.MultipleChoiceField(
        choices=VisitKind.choices,
        required=False,
        widget=forms.CheckboxSelectMultiple,
        label="Needed for",
        help_text="Every visit of these kinds needs it. None: only sites and visits that name it.",
    )

    class Meta:
        model = Skill
        fields = ["name", "kinds", "plant"]
        labels = {"plant": "Where"}
        error_messages = {"name": {"unique": "There is a skill of this name already."}}
        help_texts = {"name": "A certificate or a training: backflow tester, work at mains power."}


class ClosedDaysForm(NativeModelForm):
    class Meta:
        model = ClosedDays
        fields = ["starts_on", "ends_on", "reason"]
        labels = {"starts_on": "First day", "ends_on": "Last day"}
        help_texts = {"reason": "A public holiday, the winter break."}


class AbsenceForm(NativeModelForm):
    class Meta:
        model = Absence
        fields = ["starts_on", "ends_on", "reason"]
        labels = {"starts_on": "First day away", "ends_on": "Last day away"}

    def _get_validation_exclusions(self) -> set[str]:
        # The technician is set by the view and must count in the constraints.
        return super()._get_validation_exclusions() - {"technician"}
