"""Season reports: which sites have theirs, make it, look at it, send it, settle what went wrong."""

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from reports.actions import deliveries, documents, links
from reports.forms import LinkForm, SendForm, suggested_recipients
from reports.models import Delivery, Document, ShareLink
from reports.queries.overview import client_reports, report_rows, site_documents
from reports.tasks import send_waiting_deliveries
from sites.access import OFFICE, Request, open_to, visible_or_404
from sites.answers import whole_number
from sites.models import Role, Site

PAGE_ROWS = 50
# What is mailed as a kept document, from one and the same page.
MAILED_KINDS = (Document.Kind.SEASON_REPORT, Document.Kind.PROPOSAL)


def wanted_year(request: Request) -> int:
    """The season asked for by `?year=`, else this year."""
    year = whole_number(request.GET.get("year") or request.POST.get("year"))
    return year if year and 2000 <= year <= 2100 else timezone.localdate().year


@require_safe
@open_to(*OFFICE)
def report_list(request: Request) -> HttpResponse:
    year = wanted_year(request)
    page = Paginator(report_rows(year), PAGE_ROWS).get_page(request.GET.get("page"))
    state = Delivery.State
    unsettled = Delivery.objects.filter(state__in=[state.UNKNOWN, state.FAILED, state.BOUNCED])
    context = {
        "year": year,
        "page": page,
        "unsettled": unsettled.select_related("document__site").order_by("-created_at")[:20],
    }
    return render(request, "reports/report_list.html", context)


@require_safe
@open_to(*OFFICE)
def site_reports(request: Request, pk: int) -> HttpResponse:
    site = visible_or_404(Site.objects.select_related("client"), request.user, pk=pk)
    year = wanted_year(request)
    return render(
        request, "reports/site_reports.html", {"site": site, "year": year, "documents": site_documents(site)}
    )


@require_POST
@open_to(*OFFICE)
def report_make(request: Request, pk: int) -> HttpResponse:
    site = visible_or_404(Site.objects.select_related("client"), request.user, pk=pk)
    made = documents.make_season_report(site=site, season_year=wanted_year(request), by=request.user)
    messages.success(request, f"{made.title}: version {made.version} is ready.")
    return redirect("reports:report_send", made.pk)


@open_to(*OFFICE)
def report_send(request: Request, pk: int) -> HttpResponse:
    """Look at exactly what goes out, then send it."""
    report = _report(request, pk, *MAILED_KINDS)
    form = SendForm(request.POST or None, initial={"recipients": suggested_recipients(report.site)})
    if request.method == "POST" and form.is_valid():
        recipients = form.cleaned_data["recipients"]
        try:
            ordered = deliveries.queue_delivery(document=report, recipients=recipients, by=request.user)
        except deliveries.NotSendable as error:
            form.add_error(None, str(error))
        else:
            send_waiting_deliveries.delay_on_commit()
            addresses = ", ".join(delivery.recipient for delivery in ordered)
            messages.success(request, f"Queued for {addresses}: see below.")
            return redirect("reports:report_send", report.pk)
    now = timezone.now()
    context = {
        "report": report,
        "form": form,
        "link_form": LinkForm(auto_id="link_%s"),
        "mail": deliveries.preview(report, now=now),
        "deliveries": report.deliveries.order_by("pk"),
        "links": report.links.order_by("-pk"),
        "now": now,
    }
    return render(request, "reports/report_send.html", context, status=422 if form.errors else 200)


def _report(request: Request, pk: int, *kinds: str) -> Document:
    rows = Document.objects.filter(kind__in=kinds).select_related("site__client", "proposal")
    return visible_or_404(rows, request.user, pk=pk)


@require_POST
@open_to(*OFFICE)
def report_test(request: Request, pk: int) -> HttpResponse:
    """Send the mail to oneself. No proposal: whoever opens its link could answer for the client."""
    report = _report(request, pk, Document.Kind.SEASON_REPORT)
    try:
        address = deliveries.send_test(document=report, now=timezone.now(), by=request.user)
    except deliveries.NotSendable as error:
        messages.error(request, str(error))
    else:
        messages.success(request, f"A test went to {address}. The client was not written to.")
    return redirect("reports:report_send", report.pk)


@require_POST
@open_to(*OFFICE)
def link_make(request: Request, pk: int) -> HttpResponse:
    """Make a link to hand on; its address is shown once, on this answer only."""
    report = _report(request, pk, *MAILED_KINDS)
    form = LinkForm(request.POST)
    label = form.cleaned_data["label"] if form.is_valid() else ""
    link, token = links.make_link(document=report, label=label, now=timezone.now(), by=request.user)
    context = {"report": report, "link": link, "address": deliveries.shared_url(token)}
    response = render(request, "reports/link_made.html", context)
    response["Cache-Control"] = "no-store"
    return response


@require_POST
@open_to(*OFFICE)
def link_revoke(request: Request, pk: int) -> HttpResponse:
    link = visible_or_404(ShareLink.objects.all(), request.user, pk=pk)
    links.revoke_link(link=link, now=timezone.now(), by=request.user)
    messages.success(request, "The link is closed.")
    return redirect("reports:report_send", link.document_id)


@require_POST
@open_to(*OFFICE)
def delivery_decide(request: Request, pk: int) -> HttpResponse:
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
def client_home(request: Request) -> HttpResponse:
    """A client's start page: own sites and the reports published for them."""
    return render(request, "reports/client_home.html", {"sites": client_reports(request.user)})
