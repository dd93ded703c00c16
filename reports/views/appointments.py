"""Appointments: which clients know when we come, tell the others, settle what went wrong."""

import datetime as dt

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_POST, require_safe

from jobs.models import Visit
from jobs.queries.planning import firm_now
from reports.actions import appointments, ledger
from reports.forms import SpanForm
from reports.models import AppointmentMail
from reports.queries.appointments import MOST_SHOWN, appointment_mail, appointment_rows, unsettled_mails
from reports.queries.calls import calls_due
from reports.tasks import tell_clients as tell_task
from sites.access import OFFICE, Request, open_to, visible_or_404
from sites.answers import whole_number

USUAL_DAYS = 14


def page_url(first_day: dt.date, last_day: dt.date) -> str:
    return f"{reverse('reports:appointment_list')}?first_day={first_day}&last_day={last_day}"


@require_safe
@open_to(*OFFICE)
def appointment_list(request: Request) -> HttpResponse:
    now = firm_now()
    today = now.date()
    usual = {"first_day": today, "last_day": today + dt.timedelta(days=USUAL_DAYS)}
    form = SpanForm(request.GET) if "first_day" in request.GET else SpanForm(initial=usual)
    span = form.cleaned_data if form.is_bound and form.is_valid() else usual
    rows = appointment_rows(**span, now=now)
    context = {
        "form": form,
        "rows": rows,
        "most": MOST_SHOWN if len(rows) == MOST_SHOWN else 0,
        "to_tell": sum(row.can_tell for row in rows),
        "unsettled": unsettled_mails(),
        "calls": calls_due(now=now),
        **span,
    }
    return render(request, "reports/appointment_list.html", context, status=422 if form.errors else 200)


@require_POST
@open_to(*OFFICE)
def tell_clients(request: Request) -> HttpResponse:
    """Tell the ticked clients what the page showed, and everyone whose appointment changed or is cancelled."""
    now = firm_now()
    chosen = [pk for text in request.POST.getlist("visit") if (pk := whole_number(text)) is not None]
    visits = Visit.objects.visible_to(request.user).filter(pk__in=chosen).select_related("site__client")
    told = appointments.tell(
        visits=visits.order_by("planned_on", "arrives_at"),
        shown={pk: request.POST.get(f"shown_{pk}", "") for pk in chosen},
        by=request.user,
        today=now.date(),
        clock=now.time(),
    )
    changed = appointments.find_changes(today=now.date(), clock=now.time())
    tell_task.delay_on_commit()
    for words in told.refused:
        messages.error(request, words)
    count = len(told.queued) + changed
    messages.success(request, f"{count} mail{'' if count == 1 else 's'} on the way.")
    return redirect(_asked_page(request))


@require_POST
@open_to(*OFFICE)
def client_called(request: Request, pk: int) -> HttpResponse:
    """The client of this visit was called and told what the page showed."""
    visit = visible_or_404(Visit.objects.select_related("site__client"), request.user, pk=pk)
    try:
        appointments.note_called(visit=visit, told=request.POST.get("told", ""), now=firm_now(), by=request.user)
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    else:
        messages.success(request, f"Noted: {visit.site.client} was called.")
    return redirect(_asked_page(request))


def _asked_page(request: Request) -> str:
    """The page with the days that the form was sent from."""
    form = SpanForm(request.POST)
    return page_url(**form.cleaned_data) if form.is_valid() else reverse("reports:appointment_list")


@open_to(*OFFICE)
def mail(request: Request, pk: int) -> HttpResponse:
    """What a client was or will be told, word for word; the place to settle a mail that went wrong."""
    row = visible_or_404(AppointmentMail.objects.select_related("visit__site__client"), request.user, pk=pk)
    if request.method == "POST":
        try:
            if request.POST.get("decision") == "again":
                ledger.send_again(delivery=row, by=request.user)
                tell_task.delay_on_commit()
            else:
                ledger.count_as_sent(delivery=row, by=request.user)
        except ledger.NotSendable as error:
            messages.error(request, str(error))
        return redirect("reports:appointment_mail", row.pk)
    return render(request, "reports/appointment_mail.html", {"mail": row, "said": appointment_mail(row)})
