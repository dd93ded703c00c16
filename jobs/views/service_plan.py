"""What a site has ordered, how it wants to be visited, and how frost comes there."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse

from jobs.actions.visits import save_service_plan
from jobs.forms.planning import ServicePlanForm, VisitTermsForm
from jobs.models import ServicePlan, VisitTerms
from jobs.queries.planning import firm_today, planning_technicians
from jobs.queries.windows import season_dates
from jobs.views.field import show_problem
from sites.access import OFFICE, Request, open_to, visible_or_404
from sites.answers import typed
from sites.models import Site


@open_to(*OFFICE)
def service_plan(request: Request, pk: int) -> HttpResponse:
    site = visible_or_404(Site.objects.current(), request.user, pk=pk)
    plan = ServicePlan.objects.filter(site=site).first() or ServicePlan(site=site)
    terms = VisitTerms.objects.filter(site=site).first() or VisitTerms(site=site)
    plan_form = ServicePlanForm(**typed(request), instance=plan)
    terms_form = VisitTermsForm(**typed(request), instance=terms, technicians=planning_technicians())
    right = [form.is_valid() for form in (plan_form, terms_form)]  # both, so that each tells what is wrong
    if all(right):
        try:
            skills = terms_form.chosen_skills
            moved = save_service_plan(plan=plan, terms=terms, skills=skills, by=request.user)
        except ValidationError as error:
            show_problem(terms_form, error)
        else:
            words = {0: "", 1: " 1 visit has other dates now."}.get(moved, f" {moved} visits have other dates now.")
            messages.success(request, f"Saved: {plan}.{words}")
            return redirect("jobs:site_visits", pk)
    year = firm_today().year
    context = {
        "site": site,
        "plan_form": plan_form,
        "terms_form": terms_form,
        "wrong": len(plan_form.errors) + len(terms_form.errors),
        "dates": season_dates(site, (year, year + 1)),
        "back_url": reverse("jobs:site_visits", args=[pk]),
    }
    return render(request, "jobs/service_plan.html", context, status=422 if plan_form.is_bound else 200)
