"""A site's state by hand: turned on or off on a day, with the reason; and a wrong entry withdrawn."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_POST

from sites.access import OFFICE, Request, open_to, visible_or_404
from sites.actions.site_state import change_state, withdraw
from sites.answers import typed
from sites.forms.site_state import StateChangeForm
from sites.models import Site, StateChange
from sites.queries.site_page import local_today
from sites.queries.site_state import standing_of


def _url(site_id: int) -> str:
    return reverse("sites:site_state", args=[site_id])


@open_to(*OFFICE)
def site_state(request: Request, pk: int) -> HttpResponse:
    site = visible_or_404(Site.objects.all(), request.user, pk=pk)
    form = StateChangeForm(
        **typed(request), instance=StateChange(site=site), initial={"changed_on": local_today(site)}
    )
    if form.is_bound and form.is_valid():
        given = form.cleaned_data
        change_state(site=site, state=given["state"], on=given["changed_on"], reason=given["reason"], by=request.user)
        messages.success(request, f"Recorded: {site} is {standing_of(site).words}.")
        return redirect("sites:site_page", site.pk)
    shown = {
        "site": site,
        "form": form,
        "standing": standing_of(site),
        "changes": site.state_changes.select_related("recorded_by").order_by("-changed_on", "-pk"),
    }
    return render(request, "sites/site_state.html", shown, status=422 if form.is_bound else 200)


@open_to(*OFFICE)
@require_POST
def state_change_withdraw(request: Request, pk: int) -> HttpResponse:
    change = visible_or_404(StateChange.objects.select_related("site"), request.user, pk=pk)
    withdraw(change=change, by=request.user)
    messages.success(
        request, f"Withdrawn: the entry no longer counts. {change.site} is {standing_of(change.site).words}."
    )
    return redirect(_url(change.site_id))
