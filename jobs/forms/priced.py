"""Price list, proposals and work records. Amounts are text fields with a number pad, so that a slip comes back as
typed; a chosen item fills what was left empty beside it."""

import datetime as dt
from typing import Any, ClassVar, cast

from django import forms
from django.core.validators import DecimalValidator

from jobs.actions.proposals import VALID_DAYS
from jobs.forms.field import NUMBER_PAD, with_point
from jobs.models import Fault, PriceItem, Proposal, ProposalLine, SaleUnit, WorkPart, WorkRecord
from jobs.queries.places import place_of
from jobs.queries.proposals import STANDINGS, choosable_faults, offered_items
from sites.forms.base import RegisterForm, choice_field, field_of, rows_field
from sites.forms.quantities import show_unit
from sites.models import Firm, Site

LONGEST_VALID_DAYS = 366


class AmountField(forms.DecimalField):
    """A number typed with point or comma."""

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("widget", forms.TextInput(attrs=NUMBER_PAD))
        super().__init__(**kwargs)

    def to_python(self, value: Any) -> Any:
        return super().to_python(with_point(value) if isinstance(value, str) else value)


def _as_amounts(form: forms.ModelForm, *names: str) -> None:
    """Turn the model's number fields into amounts, in the firm's currency where they are prices."""
    for name in names:
        if name not in form.fields:
            continue
        old = field_of(form, name, forms.DecimalField)
        form.fields[name] = AmountField(
            label=old.label,
            help_text=old.help_text,
            required=old.required,
            initial=old.initial,
            max_digits=old.max_digits,
            decimal_places=old.decimal_places,
            validators=[one for one in old.validators if not isinstance(one, DecimalValidator)],
        )
        if "price" in name:
            show_unit(form.fields[name], Firm.current().currency)


class PriceItemForm(RegisterForm):
    class Meta:
        model = PriceItem
        fields = ["name", "unit", "price", "active"]

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        _as_amounts(self, "price")


class ProposalForm(RegisterForm):
    class Meta:
        model = Proposal
        fields = ["valid_until", "note"]

    def __init__(self, *args: Any, today: dt.date, **kwargs: Any) -> None:
        self.today = today
        super().__init__(*args, **kwargs)
        if self.instance.pk is None:
            self.initial["valid_until"] = today + dt.timedelta(days=VALID_DAYS)

    def clean_valid_until(self) -> dt.date:
        day = self.cleaned_data["valid_until"]
        if day < self.today:
            raise forms.ValidationError("This day is past. The client needs time to answer.")
        if day > self.today + dt.timedelta(days=LONGEST_VALID_DAYS):
            raise forms.ValidationError("That is more than a year away. Prices hold for a year at most.")
        return day


class PricedLineForm(forms.ModelForm):
    """One line. A chosen item brings its unit, and its name and price where they were not typed."""

    shows_prices: ClassVar[bool] = True

    def __init__(self, *args: Any, items: list[PriceItem], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        _as_amounts(self, "quantity", "unit_price")
        kept = self.instance.item_id
        rows_field(self, "item").queryset = offered_items(kept)
        # Read once for all lines, not once a line.
        choice_field(self, "item").choices = [
            ("", "not from the price list"),
            *[(item.pk, self._label(item)) for item in items if item.active or item.pk == kept],
        ]
        self.fields["text"].required = False

    def _label(self, item: PriceItem) -> str:
        return f"{item.name}, {item.price} per {item.get_unit_display()}" if self.shows_prices else item.name

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        item, chosen = cleaned.get("item"), "item" in self.changed_data
        if item:
            cleaned["unit"] = item.unit
            if not cleaned.get("text") or (chosen and "text" not in self.changed_data):
                cleaned["text"] = item.name
            untouched = cleaned.get("unit_price") is None or (chosen and "unit_price" not in self.changed_data)
            if self.shows_prices and untouched and "unit_price" not in self.errors:
                cleaned["unit_price"] = item.price
        elif not cleaned.get("text") and "text" not in self.errors:
            self.add_error("text", "Choose an item or write what it is.")
        if not self.shows_prices and {"item", "text"} & set(self.changed_data):
            # What is priced has changed: from the list, or open until the office has looked.
            self.instance.unit_price = item.price if item else None
        return cleaned


class ProposalLineForm(PricedLineForm):
    class Meta:
        model = ProposalLine
        fields = ["item", "text", "quantity", "unit", "unit_price", "fault"]
        labels = {"item": "From the price list", "text": "What", "unit_price": "Price per unit", "fault": "Repairs"}

    def __init__(self, *args: Any, faults: list[Fault], site: Site, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        kept = self.instance.fault_id
        rows_field(self, "fault").queryset = choosable_faults(site, kept)
        choice_field(self, "fault").choices = [
            ("", "the work as a whole"),
            *[(f.pk, fault_words(f)) for f in faults],
        ]


def fault_words(fault: Fault) -> str:
    return f"{fault.get_kind_display().capitalize()}, {place_of(fault)}"


class LinesFormSet(forms.BaseInlineFormSet):
    """Lines in the order they stand on the page."""

    def add_fields(self, form: forms.ModelForm, index: int | None) -> None:
        super().add_fields(form, index)
        if "DELETE" in form.fields:
            form.fields["DELETE"].label = "Remove"

    @property
    def kept(self) -> list:
        gone = {id(form) for form in self.deleted_forms}
        return [
            form.instance for form in self.forms if id(form) not in gone and (form.instance.pk or form.has_changed())
        ]

    @property
    def removed(self) -> list:
        return [form.instance for form in self.deleted_forms if form.instance.pk]


def proposal_lines(proposal: Proposal, data: Any, *, start: list[Fault] | None = None) -> LinesFormSet:
    """The lines of a draft; a new one starts with a line for each fault in `start`."""
    kept = list(proposal.lines.all()) if proposal.pk else []
    items = list(offered_items(*[line.item_id for line in kept]))
    faults = list(choosable_faults(proposal.site, *[line.fault_id for line in kept]))
    first = [{"fault": fault.pk, "text": fault.part_needed} for fault in start or ()]
    factory = forms.inlineformset_factory(
        Proposal,
        ProposalLine,
        form=ProposalLineForm,
        formset=LinesFormSet,
        extra=len(first) + (2 if first or kept else 3),
        max_num=60,
        validate_max=True,
        can_delete=True,
    )
    # What is typed counts, so a line that starts with a fault is not "unchanged" when it comes back.
    initial = None if data is not None else first
    kwargs = {"items": items, "faults": faults, "site": proposal.site}
    return cast(LinesFormSet, factory(data, instance=proposal, prefix="lines", initial=initial, form_kwargs=kwargs))


class ProposalFilterForm(forms.Form):
    standing = forms.ChoiceField(label="Show", required=False, choices=[("", "all"), *STANDINGS])


class WorkForm(RegisterForm):
    """Labour as the office enters it."""

    class Meta:
        model = WorkRecord
        fields = ["labour_min", "labour_item", "labour_price", "note"]
        labels = {"labour_min": "Work time", "labour_item": "Kind of work", "note": "Remark for the office"}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        _as_amounts(self, "labour_price")
        self.fields["labour_min"].widget = forms.TextInput(attrs={**NUMBER_PAD, "inputmode": "numeric"})
        show_unit(self.fields["labour_min"], "min")
        hours = offered_items(self.instance.labour_item_id).filter(unit=SaleUnit.HOUR)
        rows_field(self, "labour_item").queryset = hours
        rows_field(self, "labour_item").empty_label = "not from the price list"
        if self.instance.pk is None:
            if len(hours) == 1:
                self.initial["labour_item"] = hours[0].pk
            visit = self.instance.visit
            if visit.started_at and visit.finished_at:  # time on site to begin with, to be changed where it differs
                self.initial["labour_min"] = round((visit.finished_at - visit.started_at).total_seconds() / 60)

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        item = cleaned.get("labour_item")
        if "labour_price" in self.fields:
            typed = "labour_price" in self.changed_data and cleaned.get("labour_price") is not None
            chosen = "labour_item" in self.changed_data or cleaned.get("labour_price") is None
            if item and chosen and not typed and "labour_price" not in self.errors:
                cleaned["labour_price"] = item.price
        elif "labour_item" in self.changed_data or self.instance.labour_price is None:
            self.instance.labour_price = item.price if item else None
        return cleaned


class TechnicianWorkForm(WorkForm):
    class Meta(WorkForm.Meta):
        fields = ["labour_min", "labour_item", "note"]


class WorkPartForm(PricedLineForm):
    class Meta:
        model = WorkPart
        fields = ["item", "text", "quantity", "unit", "unit_price"]
        labels = {"item": "From the price list", "text": "What", "unit_price": "Price per unit"}


class TechnicianPartForm(WorkPartForm):
    shows_prices = False

    class Meta(WorkPartForm.Meta):
        fields = ["item", "text", "quantity", "unit"]


def work_forms(work: WorkRecord, data: Any, *, with_prices: bool) -> tuple[WorkForm, LinesFormSet]:
    """Labour and parts of a visit; technicians see and set no price."""
    kept = list(work.parts.all()) if work.pk else []
    factory = forms.inlineformset_factory(
        WorkRecord,
        WorkPart,
        form=WorkPartForm if with_prices else TechnicianPartForm,
        formset=LinesFormSet,
        extra=3,
        max_num=60,
        validate_max=True,
        can_delete=True,
        can_delete_extra=False,
    )
    items = list(offered_items(*[part.item_id for part in kept]))
    labour = WorkForm if with_prices else TechnicianWorkForm
    parts = factory(data, instance=work, prefix="parts", form_kwargs={"items": items})
    return labour(data, instance=work), cast(LinesFormSet, parts)
