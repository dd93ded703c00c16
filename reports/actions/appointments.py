"""Telling clients when somebody comes: each appointment, each change, each cancellation and each reminder once."""

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass
from email.mime.text import MIMEText

from django.conf import settings
from django.core.exceptions import ValidationError
from django.core.mail import EmailMessage
from django.db import IntegrityError, transaction

from jobs.actions.planning import pin
from jobs.models import Visit
from reports.actions import ledger
from reports.models import AppointmentMail
from reports.queries.appointments import Told, appointment_mail, last_news, said, standing, to_tell, told_visits
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


def tell(*, visits: Iterable[Visit], today: dt.date, by: User | None) -> Telling:
    """Promise each visit to its client as it is planned now and queue the mail that says so.

    A visit without a promise gets one: two hours around its planned arrival. A client who knows the appointment as
    it stands is not told again.
    """
    queued, refused, already = [], [], 0
    for visit in visits:
        try:
            mail = _tell_one(visit, today, by)
        except ValidationError as error:
            refused.append(f"{visit.site}: {' '.join(error.messages)}")
            continue
        if mail is None:
            already += 1
        else:
            queued.append(mail)
    return Telling(tuple(queued), already, tuple(refused))


@transaction.atomic
def _tell_one(visit: Visit, today: dt.date, by: User | None) -> AppointmentMail | None:
    visit = Visit.objects.select_for_update().get(pk=visit.pk)
    if visit.state != Visit.State.PLANNED:
        raise ValidationError("Only a planned visit can be told.")
    if visit.planned_on < today:
        raise ValidationError("The day is past.")
    if not visit.site.client.email:
        raise ValidationError("The client has no e-mail address.")
    hours = to_tell(visit)
    if not visit.promised:
        pin(visit=visit, promised=True, promised_time=hours.begins, promised_until=hours.until, by=by)
        visit.refresh_from_db()
    return _queue_news(visit, last_news([visit]).get(visit.pk), by)


def find_changes(*, today: dt.date) -> int:
    """Queue a mail for every client who counts on something that does not stand any more; returns how many.

    Cancelled visits and those that lost their day are called off. A promise that moved is told anew. A visit whose
    promise was only taken back waits for a person: the new day is not settled yet.
    """
    visits = list(told_visits(today).select_related("site__client"))
    news = last_news(visits)
    return sum(_changed(visit, news[visit.pk]) is not None for visit in visits)


def _changed(visit: Visit, last: AppointmentMail) -> AppointmentMail | None:
    if visit.state in (Visit.State.CANCELLED, Visit.State.OPEN):
        return _queue(visit, Kind.CANCELLATION, last.sequence + 1, said(last), last.recipient, by=None)
    if visit.state != Visit.State.PLANNED or standing(visit) is None or not visit.site.client.email:
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
        told = Told(visit.planned_on, visit.promised_time, visit.promised_until)
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
            record(by=by, verb=f"ordered mail: {kind}", subject=mail, visit=visit.pk, recipient=recipient)
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
