"""Season reports: which sites have theirs, make it, look at it, send it, settle what went wrong."""

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from reports.actions import deliveries, documents
from reports.forms import SendForm, suggested_recipients
from reports.models import Delivery, Document
from reports.queries.messages import season_report_mail
from reports.queries.overview import client_reports, report_rows, site_documents
from reports.tasks import send_waiting_deliveries
from sites.access import OFFICE, open_to, visible_or_404
from sites.models import Role, Site
from sites.views.answers import whole_number

PAGE_ROWS = 50


def wanted_year(request: HttpRequest) -> int:
    """The season asked for by `?year=`, else this year."""
    year = whole_number(request.GET.get("year") or request.POST.get("year"))
    return year if year and 2000 <= year <= 2100 else timezone.localdate().year


@require_safe
@open_to(*OFFICE)
def report_list(request: HttpRequest) -> HttpResponse:
    year = wanted_year(request)
    page = Paginator(report_rows(year), PAGE_ROWS).get_page(request.GET.get("page"))
    unsettled = Delivery.objects.filter(state__in=[Delivery.State.UNKNOWN, Delivery.State.FAILED])
    context = {
        "year": year,
        "page": page,
        "unsettled": unsettled.select_related("document__site").order_by("-created_at")[:20],
    }
    return render(request, "reports/report_list.html", context)


@require_safe
@open_to(*OFFICE)
def site_reports(request: HttpRequest, pk: int) -> HttpResponse:
    site = visible_or_404(Site.objects.select_related("client"), request.user, pk=pk)
    year = wanted_year(request)
    return render(
        request, "reports/site_reports.html", {"site": site, "year": year, "documents": site_documents(site)}
    )


@require_POST
@open_to(*OFFICE)
def report_make(request: HttpRequest, pk: int) -> HttpResponse:
    site = visible_or_404(Site.objects.select_related("client"), request.user, pk=pk)
    made = documents.make_season_report(site=site, season_year=wanted_year(request), by=request.user)
    messages.success(request, f"{made.title}: version {made.version} is ready.")
    return redirect("reports:report_send", made.pk)


@open_to(*OFFICE)
def report_send(request: HttpRequest, pk: int) -> HttpResponse:
    """Look at exactly what goes out, then send it."""
    report = visible_or_404(
        Document.objects.filter(kind=Document.Kind.SEASON_REPORT).select_related("site__client"),
        request.user,
        pk=pk,
    )
    form = SendForm(request.POST or None, initial={"recipients": suggested_recipients(report.site)})
    if request.method == "POST" and form.is_valid():
        ordered = deliveries.order_delivery(
            document=report, recipients=form.cleaned_data["recipients"], by=request.user
        )
        send_waiting_deliveries.delay_on_commit()
        messages.success(request, f"Queued for {', '.join(delivery.recipient for delivery in ordered)}.")
        return redirect("reports:report_send", report.pk)
    context = {
        "report": report,
        "form": form,
        "mail": season_report_mail(report),
        "deliveries": report.deliveries.order_by("pk"),
    }
    return render(request, "reports/report_send.html", context, status=422 if form.errors else 200)


@require_POST
@open_to(*OFFICE)
def delivery_decide(request: HttpRequest, pk: int) -> HttpResponse:
    """A person settles a delivery that failed or whose outcome nobody can know."""
    delivery = visible_or_404(Delivery.objects.select_related("document"), request.user, pk=pk)
    try:
        if request.POST.get("decision") == "again":
            deliveries.send_again(delivery=delivery, by=request.user)
            send_waiting_deliveries.delay_on_commit()
        else:
            deliveries.count_as_sent(delivery=delivery, by=request.user)
    except deliveries.NotSendable as error:
        messages.error(request, str(error))
    return redirect("reports:report_send", delivery.document_id)


@require_safe
@open_to(Role.CLIENT)
def client_home(request: HttpRequest) -> HttpResponse:
    """A client's start page: own sites and the reports published for them."""
    return render(request, "reports/client_home.html", {"sites": client_reports(request.user)})
