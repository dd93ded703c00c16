"""Many documents at once: order them, watch them being made, stop, go on, fetch the file."""

from pathlib import Path

from django.contrib import messages
from django.http import FileResponse, Http404, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from reports.actions import bulk
from reports.forms import BulkForm
from reports.models import BulkJob
from reports.queries.bulk import can_be_mailed, progress_of, sites_to_report, visits_to_print
from reports.tasks import start_bulk_work
from reports.views.season import wanted_year
from sites.access import OFFICE, Request, open_to, visible_or_404
from sites.models import User

JOBS_SHOWN = 20


@open_to(*OFFICE)
def bulk_list(request: Request) -> HttpResponse:
    """Order a file of many sheets or reports; the jobs so far."""
    form = BulkForm(request.POST or None, initial={"season_year": timezone.localdate().year})
    if request.method == "POST" and form.is_valid():
        try:
            job = _order(form.cleaned_data, request.user)
        except bulk.NothingToMake as error:
            form.add_error(None, str(error))
        else:
            return redirect("reports:bulk", job.pk)
    jobs = BulkJob.objects.visible_to(request.user).select_related("made_by")[:JOBS_SHOWN]
    now = timezone.now()
    context = {"form": form, "rows": [progress_of(job, now) for job in jobs]}
    return render(request, "reports/bulk_list.html", context, status=422 if form.errors else 200)


def _order(wanted: dict, by: User) -> BulkJob:
    kind, year = wanted["kind"], wanted["season_year"]
    if kind == BulkJob.Kind.REPORTS:
        ids = list(sites_to_report().values_list("pk", flat=True))
    else:
        ids = visits_to_print(
            completed=kind == BulkJob.Kind.COMPLETED,
            season_year=year,
            kind=wanted["visit_kind"],
            first_day=wanted["first_day"],
            last_day=wanted["last_day"],
        )
    title = f"{BulkJob.Kind(kind).label.capitalize()} {year}"
    job = BulkJob(kind=kind, shape=wanted["shape"], title=title, season_year=year, prepared_on=timezone.localdate())
    bulk.queue_bulk(job=job, row_ids=ids, by=by)
    start_bulk_work()
    return job


@open_to(*OFFICE)
def send_all(request: Request) -> HttpResponse:
    """Make every site's season report and mail it to its client, after a look at who gets one and who does not."""
    year = wanted_year(request)
    sites = sites_to_report()
    if request.method == "POST":
        try:
            job = BulkJob(
                kind=BulkJob.Kind.SEND,
                shape=BulkJob.Shape.NONE,
                title=f"Season reports {year} to all clients",
                season_year=year,
                prepared_on=timezone.localdate(),
            )
            bulk.queue_bulk(job=job, row_ids=list(sites.values_list("pk", flat=True)), by=request.user)
        except bulk.NothingToMake as error:
            messages.error(request, str(error))
            return redirect("reports:report_list")
        start_bulk_work()
        return redirect("reports:bulk", job.pk)
    context = {
        "year": year,
        "mailed": sites.filter(can_be_mailed()),
        "not_mailed": sites.exclude(can_be_mailed()),
    }
    return render(request, "reports/send_all.html", context)


@require_safe
@open_to(*OFFICE)
def bulk_page(request: Request, pk: int) -> HttpResponse:
    job = visible_or_404(BulkJob.objects.select_related("made_by"), request.user, pk=pk)
    return render(request, "reports/bulk.html", {"row": progress_of(job, timezone.now()), "job": job})


@require_POST
@open_to(*OFFICE)
def bulk_change(request: Request, pk: int) -> HttpResponse:
    """Stop a job, or go on with one that was stopped or stands still."""
    job = visible_or_404(BulkJob.objects.all(), request.user, pk=pk)
    if request.POST.get("decision") == "cancel":
        bulk.cancel_bulk(job=job, by=request.user)
    else:
        bulk.resume_bulk(job=job, by=request.user)
        start_bulk_work()
    return redirect("reports:bulk", job.pk)


@require_safe
@open_to(*OFFICE)
def bulk_file(request: Request, pk: int) -> FileResponse:
    job = visible_or_404(BulkJob.objects.filter(state=BulkJob.State.DONE), request.user, pk=pk)
    if not job.file:
        raise Http404
    response = FileResponse(job.file.open("rb"), as_attachment=True, filename=Path(job.file.name or "").name)
    response["Cache-Control"] = "private, no-store"
    return response
