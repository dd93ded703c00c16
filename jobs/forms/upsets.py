"""What the office types when something comes up."""

import datetime as dt
from collections.abc import Iterator
from itertools import groupby
from typing import Any

from django import forms
from django.db.models import F
from django.forms.models import ModelChoiceIterator

from jobs.forms.planning import NativeForm, TechnicianChoice
from jobs.models import Replan, Visit
from sites.core import writing
from sites.forms.base import rows_field
from sites.models import Site, User

LONGEST_CALL_MIN = 600


class UpsetForm(NativeForm):
    """`today` and `technicians` are handed in; `cleaned_data` are the words of the action that proposes."""

    def __init__(self, *args: Any, today: dt.date, technicians: list[User], **kwargs: Any) -> None:
        self.today, self.technicians = today, technicians
        super().__init__(*args, **kwargs)


class AwayForm(UpsetForm):
    first_day = forms.DateField(label="First day away")
    last_day = forms.DateField(label="Last day away")
    reason = forms.CharField(max_length=80, required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["technician"] = TechnicianChoice(self.technicians, label="Technician")
        self.order_fields(["technician"])
        self.fields["first_day"].initial = self.fields["last_day"].initial = self.today


class FrostForm(UpsetForm):
    season_year = forms.IntegerField(label="Season", min_value=2000, max_value=2100)
    due_on = forms.DateField(
        label="Every winterization by", help_text="The last day on which a system may still hold water."
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["season_year"].initial = self.today.year


class CallOutForm(UpsetForm):
    site = forms.ModelChoiceField(Site.objects.none())
    service_min = forms.IntegerField(
        label="Time on site", min_value=5, max_value=LONGEST_CALL_MIN, initial=60, help_text="Minutes."
    )
    begin_by = forms.TimeField(
        required=False, label="Begin by", help_text="Today. Empty: as it fits best into the day."
    )
    instructions = forms.CharField(required=False, widget=forms.Textarea, label="What happened")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        rows_field(self, "site").queryset = Site.objects.current()


class _ByMonth(ModelChoiceIterator):
    """Hundreds of visits, under the name of their month."""

    def __iter__(self) -> Iterator[tuple[Any, Any]]:
        yield "", self.field.empty_label
        for month, visits in groupby(self.queryset, key=lambda visit: f"{writing.month_year(visit.planned_on)}"):
            yield month, [self.choice(visit) for visit in visits]


class PlannedVisitChoice(forms.ModelChoiceField):
    """Visits that stand on a day, by time, as somebody on the telephone would name them."""

    iterator = _ByMonth

    def label_from_instance(self, visit: Visit) -> str:
        at = f" {visit.arrives_at:%H:%M}" if visit.arrives_at else ""
        _, on = visit.placed
        return f"{writing.weekday_date(on)}{at}, {visit.site}, {visit.get_kind_display()}, {visit.technician}"


class CancelsForm(UpsetForm):
    visit = PlannedVisitChoice(Visit.objects.none(), label="Visit")
    reason = forms.CharField(max_length=300, label="Why the visit is cancelled")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        ahead = Visit.objects.filter(state=Visit.State.PLANNED, planned_on__gte=self.today)
        rows = ahead.select_related("site", "technician")
        rows_field(self, "visit").queryset = rows.order_by(
            "planned_on", F("arrives_at").asc(nulls_last=True), "site__name"
        )


FORMS: dict[str, type[UpsetForm]] = {
    Replan.Upset.AWAY: AwayForm,
    Replan.Upset.FROST: FrostForm,
    Replan.Upset.CALL_OUT: CallOutForm,
    Replan.Upset.CANCELLED: CancelsForm,
}
