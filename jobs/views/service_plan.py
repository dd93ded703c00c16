"""Which seasonal visits a site has ordered."""

from django.http import HttpRequest, HttpResponse
from django.urls import reverse

from jobs.forms.planning import ServicePlanForm
from jobs.models import ServicePlan
from sites.access import OFFICE, open_to, visible_or_404
from sites.models import Site
from sites.views.answers import answer_form, typed


@open_to(*OFFICE)
def service_plan(request: HttpRequest, pk: int) -> HttpResponse:
    site = visible_or_404(Site.objects.current(), request.user, pk=pk)
    plan = ServicePlan.objects.filter(site=site).first() or ServicePlan(site=site)
    back = reverse("jobs:site_visits", args=[pk])
    return answer_form(
        request,
        ServicePlanForm(**typed(request), instance=plan),
        title=f"Service plan of {site}",
        back_url=back,
        done_url=back,
        lead="The season's visits are made from this. Visits that are made already stay.",
    )
