"""Telling clients when somebody comes: each appointment, each change, each cancellation and each reminder once."""

import datetime as dt
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from email.mime.text import MIMEText

from django.conf import settings
from django.core.exceptions import ValidationError
from django.core.mail import EmailMessage
from django.db import IntegrityError, transaction

from jobs.actions.planning import promise_hours
from jobs.actions.planning.queue import queue_planners
from jobs.models import ClientTold, Visit
from reports.actions import ledger
from reports.models import AppointmentMail
from reports.queries.appointments import Told, appointment_mail, last_news, said, standing, to_tell, told_visits
from reports.queries.calls import calls_due
from reports.queries.unsubscribe import unsubscribe_headers
from sites.actions.audit import record
from sites.models import User

Kind = AppointmentMail.Kind


@dataclass(frozen=True)
class Telling:
    """What became of a wish to tell clients: mails queued, visits told already, and why others could not be told."""

    queued: tuple[AppointmentMail, ...]
    already: int
    refused: tuple[str, ...]


@transaction.atomic
def tell(
    *,
    visits: Iterable[Visit],
    today: dt.date,
    clock: dt.time = dt.time.min,
    shown: Mapping[int, str] | None = None,
    by: User | None,
) -> Telling:
    """Promise each visit to its client as it is planned now and queue the mail that says so.

    A visit without a promise gets one: two hours around its planned arrival. All are promised before any day gets
    new times, so that each client is told what the page showed. A client who knows the appointment as it stands is
    not told again. `today` and `clock` are the firm's. `shown` has by visit the `Told.key` that a person saw: what
    changed since is refused.
    """
    queue_planners()
    rows = _locked([visit.pk for visit in visits])
    why_not = {visit.pk: _why_untold(visit, today, clock, shown) for visit in rows}
    told = [visit for visit in rows if not why_not[visit.pk]]
    hours = {visit: to_tell(visit) for visit in told if not visit.promised}
    promise_hours(told={visit: (told.begins, told.until) for visit, told in hours.items()}, by=by)
    news = last_news(told)
    mails = [_queue_news(visit, news.get(visit.pk), by) for visit in _read([visit.pk for visit in told])]
    refused = tuple(f"{visit.site}: {why_not[visit.pk]}" for visit in rows if why_not[visit.pk])
    queued = tuple(mail for mail in mails if mail is not None)
    return Telling(queued, len(mails) - len(queued), refused)


def _locked(pks: Sequence[int]) -> list[Visit]:
    """These visits as they are now, held until the transaction ends."""
    list(Visit.objects.select_for_update().filter(pk__in=pks).order_by("pk").values_list("pk", flat=True))
    return _read(pks)


def _read(pks: Sequence[int]) -> list[Visit]:
    rows = Visit.objects.select_related("site__client", "technician__technician_profile").in_bulk(pks)
    return [rows[pk] for pk in pks if pk in rows]


def _why_untold(visit: Visit, today: dt.date, clock: dt.time, shown: Mapping[int, str] | None) -> str:
    """Why the client of this visit cannot be told now, or nothing."""
    if visit.state != Visit.State.PLANNED:
        return "Only a planned visit can be told."
    if visit.planned_on and visit.planned_on < today:
        return "The day is past."
    told = to_tell(visit)
    if told.passed(today, clock):
        return "The hours are past."
    if not visit.site.client.email:
        return "The client has no email address."
    if shown is not None and shown.get(visit.pk) != told.key:
        return "The planned hours have changed since the page was shown. Look at them again, then tell the client."
    return ""


@transaction.atomic
def note_called(*, visit: Visit, told: str, now: dt.datetime, by: User | None) -> None:
    """Note that the client was called and told these words of the list of calls.

    ValidationError where there is nothing to tell any more, or something else than the page showed.
    """
    queue_planners()
    calls = calls_due(now=now, visit=visit)
    if not calls:
        raise ValidationError(f"{visit.site}: Nothing is left to be told by phone.")
    if calls[0].now != told:
        raise ValidationError(f"{visit.site}: This has changed since the page was shown. Look at it again.")
    ClientTold.objects.create(visit=visit, by=by, words=told)
    record(by=by, verb="client called", subject=visit, told=told)


def find_changes(*, today: dt.date, clock: dt.time = dt.time.min) -> int:
    """Queue a mail for every client who counts on something that does not stand any more; returns how many.

    Cancelled visits and those that lost their day are called off. A promise that moved is told again. A visit whose
    promise was only withdrawn waits for a person: the new day is not settled yet. Hours that lie behind by
    `today` and `clock`, the firm's, are told nobody.
    """
    visits = list(told_visits(today).select_related("site__client"))
    news = last_news(visits)
    return sum(_changed(visit, news[visit.pk], today, clock) is not None for visit in visits)


def _changed(visit: Visit, last: AppointmentMail, today: dt.date, clock: dt.time) -> AppointmentMail | None:
    if visit.state in (Visit.State.CANCELLED, Visit.State.OPEN):
        return _queue(visit, Kind.CANCELLATION, last.sequence + 1, said(last), last.recipient, by=None)
    now = standing(visit)
    if visit.state != Visit.State.PLANNED or now is None or not visit.site.client.email:
        return None
    if now.passed(today, clock):
        return None
    return _queue_news(visit, last, by=None)


def _queue_news(visit: Visit, last: AppointmentMail | None, by: User | None) -> AppointmentMail | None:
    """The mail for a promise that its client does not know yet; None when nothing is new."""
    now = standing(visit)
    known = last is not None and last.kind != Kind.CANCELLATION
    if now is None or (last is not None and known and said(last) == now):
        return None
    kind, sequence = (Kind.CHANGE if known else Kind.APPOINTMENT), (last.sequence + 1 if last else 0)
    return _queue(visit, kind, sequence, now, visit.site.client.email, by)


def order_reminders(*, today: dt.date) -> int:
    """Queue a reminder for every client who wants one of tomorrow's promised visits; returns how many are new."""
    tomorrow = today + dt.timedelta(days=1)
    visits = Visit.objects.filter(
        state=Visit.State.PLANNED, planned_on=tomorrow, promised=True, site__client__wants_reminders=True
    )
    made = 0
    for visit in visits.exclude(site__client__email="").select_related("site__client"):
        if visit.appointment_mails.filter(kind=Kind.REMINDER, on_date=tomorrow).exists():
            continue
        told = Told(tomorrow, visit.promised_time, visit.promised_until)
        made += _queue(visit, Kind.REMINDER, 0, told, visit.site.client.email, by=None) is not None
    return made


def send_due(*, now: dt.datetime) -> int:
    """Send every waiting mail; returns how many the server accepted."""
    return ledger.send_due(kind=AppointmentMail, message_of=message_of, now=now)


def _queue(
    visit: Visit, kind: str, sequence: int, told: Told, recipient: str, by: User | None
) -> AppointmentMail | None:
    """The row in the ledger, or None where another planner was faster: the database lets only one in."""
    try:
        with transaction.atomic():
            mail = AppointmentMail.objects.create(
                visit=visit,
                kind=kind,
                sequence=sequence,
                on_date=told.on,
                from_time=told.begins,
                until_time=told.until,
                recipient=recipient,
                message_id=ledger.new_message_id(),
                created_by=by,
            )
            record(by=by, verb=f"queued mail: {kind}", subject=mail, visit=visit.pk, recipient=recipient)
    except IntegrityError:
        return None
    return mail


def _headers(mail: AppointmentMail) -> dict[str, str]:
    """The kept Message-ID; a reminder also carries the way out of reminders."""
    headers = {"Message-ID": mail.message_id}
    if mail.kind == Kind.REMINDER:
        headers |= unsubscribe_headers(mail.visit.site.client)
    return headers


def message_of(mail: AppointmentMail) -> EmailMessage:
    """Exactly what goes out, with the calendar file as an attachment that mail programs also read by its type."""
    said_so = appointment_mail(mail)
    text = said_so.text
    message = EmailMessage(
        subject=text.subject,
        body=text.body,
        from_email=settings.DEFAULT_FROM_EMAIL,
        to=[mail.recipient],
        reply_to=[text.reply_to] if text.reply_to else None,
        headers=_headers(mail),
    )
    if said_so.method:
        part = MIMEText(said_so.calendar.decode(), "calendar", "utf-8")
        part.set_param("method", said_so.method)
        part.add_header("Content-Disposition", "attachment", filename=text.file_name)
        message.attach(part)
    return message
