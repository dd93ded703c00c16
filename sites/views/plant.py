"""New, edit and delete pages for everything that stands on a site: one table, three views a line."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from django.http import HttpResponse
from django.urls import path, reverse

from sites.access import OFFICE, STAFF, Request, open_to, visible_or_404
from sites.answers import answer_deletion, answer_form, typed, whole_number
from sites.forms import meters, plant
from sites.forms.base import RegisterForm
from sites.models import (
    BackflowAssembly,
    Controller,
    Meter,
    MeterReading,
    Pump,
    Role,
    Site,
    Valve,
    WaterSupply,
    Zone,
)
from sites.views.site_pages import site_url

Row = Any  # of one of the tables below; each has its `rules` and its `site`


@dataclass(frozen=True)
class Kind:
    """`word` names the routes (`valve_new`), `path` in the address; `section` is its place on the site page."""

    word: str
    path: str
    model: type[Row]
    form: type[RegisterForm]
    parent: type[Row]
    parent_path: str
    section: str
    name: str = ""
    added_by: tuple[Role, ...] = OFFICE
    instead: str = "Edit it instead."
    typed_by: str = ""

    @property
    def what(self) -> str:
        return self.name or self.word


KINDS = (
    Kind("supply", "supplies", WaterSupply, plant.WaterSupplyForm, Site, "sites", "water", name="water supply"),
    Kind("pump", "pumps", Pump, plant.PumpForm, WaterSupply, "supplies", "water"),
    Kind(
        "backflow",
        "backflow-assemblies",
        BackflowAssembly,
        plant.BackflowAssemblyForm,
        Site,
        "sites",
        "water",
        name="backflow assembly",
    ),
    Kind("controller", "controllers", Controller, plant.ControllerForm, Site, "sites", "controllers"),
    Kind("valve", "valves", Valve, plant.ValveForm, Controller, "controllers", "controllers"),
    Kind("zone", "zones", Zone, plant.ZoneForm, Site, "sites", "zones", instead="Take it out of use instead."),
    Kind("meter", "meters", Meter, meters.MeterForm, Site, "sites", "meters"),
    Kind(
        "reading",
        "readings",
        MeterReading,
        meters.MeterReadingForm,
        Meter,
        "meters",
        "meters",
        name="meter reading",
        added_by=STAFF,
        typed_by="read_by",
    ),
)


def new_view(kind: Kind) -> Callable[..., HttpResponse]:
    @open_to(*kind.added_by)
    def new(request: Request, pk: int) -> HttpResponse:
        parent = visible_or_404(kind.parent.objects.all(), request.user, pk=pk)
        row = kind.model(**{kind.model.rules.parent: parent})
        if kind.typed_by:
            setattr(row, kind.typed_by, request.user)
        form = kind.form(**typed(request), instance=row, initial=suggested(kind, parent, request))
        repeats = hasattr(kind.form, "next_after")
        return answer_form(
            request,
            form,
            title=f"New {kind.what}",
            lead=str(row.site) if parent == row.site else f"{row.site}: {parent}",
            back_url=site_url(row.site, kind.section),
            done_url=lambda saved: next_page(kind, saved, add_next="add_next" in request.POST),
            next_label="Save and add the next" if repeats else "",
        )

    return new


def suggested(kind: Kind, parent: Row, request: Request) -> dict:
    """What stands in an empty form: what repeats from the row `?after=`, else the first free number or terminal."""
    after = whole_number(request.GET.get("after"))
    if after and hasattr(kind.form, "next_after"):
        row = kind.model.objects.filter(pk=after, **{kind.model.rules.parent: parent}).first()
        if row:
            return kind.form.next_after(row)
    return kind.form.first_on(parent) if hasattr(kind.form, "first_on") else {}


def next_page(kind: Kind, row: Row, *, add_next: bool) -> str:
    """The next empty form of the same kind, the pump of a supply that needs one, or back to the site."""
    if add_next and hasattr(kind.form, "next_after"):
        return f"{reverse(f'sites:{kind.word}_new', args=[getattr(row, kind.model.rules.parent).pk])}?after={row.pk}"
    if isinstance(row, WaterSupply) and row.kind == WaterSupply.Kind.PUMP and not hasattr(row, "pump"):
        return reverse("sites:pump_new", args=[row.pk])
    return site_url(row.site, kind.section)


def edit_view(kind: Kind) -> Callable[..., HttpResponse]:
    @open_to(*OFFICE)
    def edit(request: Request, pk: int) -> HttpResponse:
        row = visible_or_404(kind.model.objects.all(), request.user, pk=pk)
        return answer_form(
            request,
            kind.form(**typed(request), instance=row),
            title=f"Edit {kind.what}: {row}",
            lead=str(row.site),
            back_url=site_url(row.site, kind.section),
            done_url=lambda saved: next_page(kind, saved, add_next=False),
            delete_url=reverse(f"sites:{kind.word}_delete", args=[pk]),
        )

    return edit


def delete_view(kind: Kind) -> Callable[..., HttpResponse]:
    @open_to(*OFFICE)
    def delete(request: Request, pk: int) -> HttpResponse:
        row = visible_or_404(kind.model.objects.all(), request.user, pk=pk)
        return answer_deletion(
            request,
            row,
            what=kind.what,
            back_url=reverse(f"sites:{kind.word}_edit", args=[pk]),
            done_url=site_url(row.site, kind.section),
            instead=kind.instead,
        )

    return delete


urlpatterns = [
    route
    for kind in KINDS
    for route in (
        path(f"{kind.parent_path}/<int:pk>/{kind.path}/new/", new_view(kind), name=f"{kind.word}_new"),
        path(f"{kind.path}/<int:pk>/edit/", edit_view(kind), name=f"{kind.word}_edit"),
        path(f"{kind.path}/<int:pk>/delete/", delete_view(kind), name=f"{kind.word}_delete"),
    )
]
