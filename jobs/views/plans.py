"""Season plans that wait for a decision: side by side, accepted or discarded."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_POST, require_safe

from jobs.actions.planning import accept_plan, discard_plan
from jobs.models import PlanRun
from jobs.queries.plan_comparison import compare_plans
from jobs.queries.planning import firm_today
from jobs.tasks import nudge_listeners
from jobs.views.season import board_url
from sites.access import OFFICE, Request, open_to, visible_or_404
from sites.answers import whole_number
from sites.core import writing


@require_safe
@open_to(*OFFICE)
def plan_comparison(request: Request) -> HttpResponse:
    chosen = {name: whole_number(request.GET.get(name)) for name in ("first", "second")}
    return render(request, "jobs/plan_comparison.html", {"comparison": compare_plans(**chosen, today=firm_today())})


@require_POST
@open_to(*OFFICE)
def plan_decide(request: Request, pk: int) -> HttpResponse:
    run = visible_or_404(PlanRun.objects.all(), request.user, pk=pk)
    days = f"{writing.day_month(run.first_day)} to {writing.day(run.last_day)}"
    try:
        if request.POST.get("decision") == "accept":
            others = accept_plan(run=run, by=request.user)
            nudge_listeners()
            gone = (
                f" Discarded with it, being for some of these days: plan {', '.join(map(str, others))}."
                if others
                else ""
            )
            messages.success(request, f"Plan {run.pk} is accepted, {days}.{gone}")
        elif request.POST.get("decision") == "discard":
            discard_plan(run=run, by=request.user)
            messages.success(request, f"Plan {run.pk}, {days}, is discarded; everything is as it was.")
        else:
            messages.error(request, "Accept the plan or discard it; nothing was changed.")
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    return redirect(f"{board_url(run.season_year)}#plan")
