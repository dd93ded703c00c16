"""Season plans that wait for a decision: side by side, accepted or discarded."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_POST, require_safe

from jobs.actions.planning import accept_plan, discard_plan
from jobs.models import PlanRun
from jobs.queries.plan_comparison import compare_plans
from jobs.tasks import nudge_listeners
from sites.access import OFFICE, open_to
from sites.views.answers import whole_number


@require_safe
@open_to(*OFFICE)
def plan_comparison(request: HttpRequest) -> HttpResponse:
    chosen = {name: whole_number(request.GET.get(name)) for name in ("first", "second")}
    return render(request, "jobs/plan_comparison.html", {"comparison": compare_plans(**chosen)})


@require_POST
@open_to(*OFFICE)
def plan_decide(request: HttpRequest, pk: int) -> HttpResponse:
    run = get_object_or_404(PlanRun, pk=pk)
    try:
        if request.POST.get("decision") == "accept":
            accept_plan(run=run, by=request.user)
            nudge_listeners()
            messages.success(request, "The plan stands.")
        else:
            discard_plan(run=run, by=request.user)
            messages.success(request, "Discarded; everything is as it was.")
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    return redirect(f"{reverse('jobs:season_board')}?year={run.season_year}#plan")
