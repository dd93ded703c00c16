"""Repair proposals for the office: the list, a draft's lines, what became of one that was sent."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_POST, require_safe

from jobs.actions import proposals
from jobs.forms.priced import LinesFormSet, ProposalFilterForm, ProposalForm, proposal_lines
from jobs.models import Fault, Proposal
from jobs.queries.planning import firm_today
from jobs.queries.proposals import (
    choosable_faults,
    faults_to_repair,
    in_standing,
    proposal_rows,
    row_of,
    standing_counts,
    with_lines,
)
from sites.access import OFFICE, Request, open_to, visible_or_404
from sites.answers import whole_number
from sites.links import link_to
from sites.models import Site

PAGE_SIZE = 50


@require_safe
@open_to(*OFFICE)
def proposal_list(request: Request) -> HttpResponse:
    today = firm_today()
    form = ProposalFilterForm(request.GET)
    standing = form.cleaned_data["standing"] if form.is_valid() else ""
    rows = in_standing(Proposal.objects.visible_to(request.user), standing, today)
    page = Paginator(with_lines(rows), PAGE_SIZE).get_page(request.GET.get("page"))
    context = {
        "page": page,
        "rows": proposal_rows(page, today),
        "counts": standing_counts(today),
        "standing": standing,
    }
    return render(request, "jobs/proposal_list.html", context)


@open_to(*OFFICE)
def proposal_new(request: Request, pk: int) -> HttpResponse:
    """A draft for a site; `?fault=` names the faults it starts with, without it all open ones."""
    site = visible_or_404(Site.objects.select_related("client"), request.user, pk=pk)
    asked = [number for number in map(whole_number, request.GET.getlist("fault")) if number]
    faults = choosable_faults(site).filter(state=Fault.State.OPEN)
    start = list(faults.filter(pk__in=asked) if asked else faults)
    return _edit(request, Proposal(site=site), start)


def _proposal(request: Request, pk: int) -> Proposal:
    return visible_or_404(with_lines(Proposal.objects.select_related("supersedes")), request.user, pk=pk)


@open_to(*OFFICE)
def proposal(request: Request, pk: int) -> HttpResponse:
    """A draft to be edited; any other as it was sent, with its answer."""
    row = _proposal(request, pk)
    if row.state == Proposal.State.DRAFT:
        return _edit(request, row, [])
    if request.method == "POST":
        messages.error(request, f"{row} was sent: it stays as it is. What you typed was not saved. Make a new one.")
    context = {
        "row": row_of(row, firm_today()),
        "proposal": row,
        "site": row.site,
        "faults": faults_to_repair(row),
        "successor": getattr(row, "successor", None),
    }
    return render(request, "jobs/proposal.html", context, status=409 if request.method == "POST" else 200)


def _edit(request: Request, draft: Proposal, start: list[Fault]) -> HttpResponse:
    data = request.POST if request.method == "POST" else None
    form = ProposalForm(data, instance=draft, today=firm_today())
    lines = proposal_lines(draft, data, start=start)
    if data is not None and all([form.is_valid(), lines.is_valid()]):
        try:
            saved = _save(form.instance, lines, request)
        except ValidationError as error:
            form.add_error(None, error.messages)
        else:
            if "check" in request.POST:
                return redirect(link_to("send proposal", saved.pk))
            messages.success(request, f"{saved} is saved as a draft.")
            return redirect("jobs:proposal", saved.pk)
    context = {
        "form": form,
        "lines": lines,
        "proposal": draft,
        "site": draft.site,
        "back_url": reverse("jobs:site_visits", args=[draft.site_id]),
        "currency": draft.currency,
    }
    return render(request, "jobs/proposal_edit.html", context, status=200 if data is None else 422)


def _save(draft: Proposal, lines: LinesFormSet, request: Request) -> Proposal:
    if draft.pk is None:
        words = {"valid_until": draft.valid_until, "note": draft.note}
        return proposals.new_proposal(site=draft.site, lines=lines.kept, by=request.user, **words)
    return proposals.save_draft(proposal=draft, lines=lines.kept, removed=lines.removed, by=request.user)


@open_to(*OFFICE)
def proposal_discard(request: Request, pk: int) -> HttpResponse:
    row = _proposal(request, pk)
    if request.method != "POST":
        context = {
            "title": f"Discard {row}?",
            "lead": f"The draft for {row.site} is deleted. Nothing was sent to the client.",
            "submit_label": "Discard",
            "back_url": reverse("jobs:proposal", args=[pk]),
        }
        return render(request, "confirm_page.html", context)
    try:
        proposals.discard_draft(proposal=row, by=request.user)
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
        return redirect("jobs:proposal", pk)
    messages.success(request, f"{row} is discarded.")
    return redirect("jobs:proposal_list")


@require_POST
@open_to(*OFFICE)
def proposal_revise(request: Request, pk: int) -> HttpResponse:
    """A new draft that supersedes a sent proposal, or the one that was begun."""
    try:
        draft = proposals.revise(proposal=_proposal(request, pk), by=request.user, today=firm_today())
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
        return redirect("jobs:proposal", pk)
    return redirect("jobs:proposal", draft.pk)


@require_POST
@open_to(*OFFICE)
def proposal_withdraw(request: Request, pk: int) -> HttpResponse:
    row = _proposal(request, pk)
    try:
        proposals.withdraw(proposal=row, by=request.user)
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    else:
        messages.success(request, f"{row} is withdrawn: the client can still read it, but not accept it.")
    return redirect("jobs:proposal", pk)
