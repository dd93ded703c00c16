"""Appointments as clients know them: what they were told, what stands now, and the words of each mail."""

import datetime as dt
import zoneinfo
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from django.conf import settings
from django.db.models import OuterRef, Q, QuerySet, Subquery
from django.db.models.functions import Coalesce
from django.utils.text import slugify

from jobs.core.calendar import Entry, calendar_file
from jobs.models import Visit, VisitKind
from jobs.queries.planning import hours_to_promise, minute_of, time_at
from reports.models import AppointmentMail
from reports.queries.messages import MailText, one_line
from reports.queries.unsubscribe import unsubscribe_url
from sites.core import writing
from sites.models import Firm, Site

Kind = AppointmentMail.Kind
MOST_SHOWN = 200
# What a client must know before the work begins: people and animals where water, air or tools are.
_WATER_RUNS = "Please keep people and animals off the lawn and beds while we run the zones."
KEEP_CLEAR: dict[str, tuple[str, ...]] = {
    VisitKind.STARTUP: (_WATER_RUNS,),
    VisitKind.MID_SEASON: (_WATER_RUNS,),
    VisitKind.WINTERISATION: (
        "We blow the pipes out with compressed air. Until we tell you that we are done, please keep people and "
        "animals indoors or well away from the lawn and beds: water and parts can fly, and it is loud.",
    ),
    VisitKind.REPAIR: (
        "Please keep people and animals away from where we work, and tell us of cables and pipes of your own in the "
        "ground before we dig.",
    ),
}


@dataclass(frozen=True)
class Told:
    """A day, and the hours within which work begins; without `begins` the day only, without `until` exactly then."""

    on: dt.date
    begins: dt.time | None
    until: dt.time | None

    @property
    def key(self) -> str:
        """The same text for the same promise: a form carries what its page showed."""
        return " ".join(str(part) for part in (self.on, self.begins, self.until))

    def passed(self, today: dt.date, clock: dt.time) -> bool:
        """Whether the day, or on that day the last of these hours, lies behind."""
        last = self.until or self.begins
        return self.on < today or (self.on == today and last is not None and last <= clock)

    @property
    def words(self) -> str:
        day = writing.full_day(self.on)
        if self.begins is None:
            return day
        if self.until is None:
            return f"{day}, {self.begins:%H:%M}"
        return f"{day}, between {self.begins:%H:%M} and {self.until:%H:%M}"


@dataclass(frozen=True)
class AppointmentRow:
    """One planned visit on the office's page. `status`: told, passed, changed, not_told or no_address.

    `under_way`: its planned arrival lies behind; it can still be told, but only by somebody who ticks it.
    """

    visit: Visit
    would_tell: Told
    told: Told | None
    mail: AppointmentMail | None
    status: str
    under_way: bool

    @property
    def can_tell(self) -> bool:
        return self.status in ("changed", "not_told")


@dataclass(frozen=True)
class CalendarMail:
    """A mail with its calendar file; `method` is REQUEST or CANCEL, empty when it carries none."""

    text: MailText
    method: str
    calendar: bytes


def standing(visit: Visit) -> Told | None:
    """What the client may count on now: only what was promised."""
    if visit.state not in (Visit.State.PLANNED, Visit.State.STARTED) or not visit.promised:
        return None
    return Told(_day(visit), visit.promised_time, visit.promised_until)


def _day(visit: Visit) -> dt.date:
    if visit.planned_on is None:
        raise ValueError("the visit is not planned")
    return visit.planned_on


def to_tell(visit: Visit) -> Told:
    """What a client would be told of a planned visit: the promise as it is, else hours around its arrival."""
    if visit.promised or visit.arrives_at is None:
        return Told(_day(visit), visit.promised_time, visit.promised_until)
    begins, until = hours_to_promise(visit, minute_of(visit.arrives_at))
    return Told(_day(visit), time_at(begins * 60), time_at(until * 60))


def said(mail: AppointmentMail) -> Told:
    return Told(mail.on_date, mail.from_time, mail.until_time)


def last_news(visits: Iterable[Visit]) -> dict[int, AppointmentMail]:
    """The newest mail about each visit, reminders left out."""
    found: dict[int, AppointmentMail] = {}
    for mail in AppointmentMail.objects.news().filter(visit__in=[v.pk for v in visits]).order_by("sequence"):
        found[mail.visit_id] = mail
    return found


def appointment_rows(first_day: dt.date, last_day: dt.date, now: dt.datetime) -> list[AppointmentRow]:
    """Planned visits of these days, the earliest first, each with what its client was told. `now` is the firm's."""
    rows = Visit.objects.filter(state=Visit.State.PLANNED, planned_on__range=(first_day, last_day))
    visits = list(
        rows.select_related("site__client", "technician__technician_profile").order_by(
            "planned_on", "arrives_at", "pk"
        )[:MOST_SHOWN]
    )
    news = last_news(visits)
    return [_row(visit, news.get(visit.pk), now) for visit in visits]


def _row(visit: Visit, mail: AppointmentMail | None, now: dt.datetime) -> AppointmentRow:
    would_tell = to_tell(visit)
    known = None if mail is None or mail.kind == Kind.CANCELLATION else said(mail)
    if known is not None and standing(visit) == known:
        status = "told"
    elif would_tell.passed(now.date(), now.time()):
        status = "passed"
    elif not visit.site.client.email:
        status = "no_address"
    else:
        status = "changed" if known else "not_told"
    arrival = Told(_day(visit), visit.arrives_at, None)
    return AppointmentRow(visit, would_tell, known, mail, status, arrival.passed(now.date(), now.time()))


def told_visits(today: dt.date) -> QuerySet[Visit]:
    """Visits whose client counts on an appointment from today on, or whose visit stands from today on."""
    newest = AppointmentMail.objects.news().filter(visit=OuterRef("pk")).order_by("-sequence")
    rows = Visit.objects.annotate(
        told_kind=Subquery(newest.values("kind")[:1]), told_on=Subquery(newest.values("on_date")[:1])
    )
    rows = rows.annotate(latest=Coalesce("planned_on", "told_on"))
    still = Q(told_on__gte=today) | Q(latest__gte=today)
    return rows.filter(still, told_kind__in=[Kind.APPOINTMENT, Kind.CHANGE])


def unsettled_mails() -> QuerySet[AppointmentMail]:
    states = [AppointmentMail.State.UNKNOWN, AppointmentMail.State.FAILED]
    return AppointmentMail.objects.filter(state__in=states).select_related("visit__site")[:20]


def appointment_mail(mail: AppointmentMail) -> CalendarMail:
    """The words and the calendar file of one mail. Names are one line each: a header cannot be broken by a name."""
    visit, firm = mail.visit, Firm.current()
    site, client = visit.site, visit.site.client
    work = f"{visit.get_kind_display()} of the irrigation system at {one_line(site.name)}"
    subject, lines = _words(mail, work)
    where = _where(site)
    signature = "\n".join(one_line(part) for part in (firm.name, firm.phone, firm.email) if part)
    body = "\n".join(
        [
            f"Dear {one_line(client.contact_name or client.name)},",
            "",
            *lines,
            "",
            where,
            "",
            *_closing(mail),
            "",
            *([f"No more reminders: {unsubscribe_url(client)}", ""] if mail.kind == Kind.REMINDER else []),
            signature,
            "",
        ]
    )
    text = MailText(one_line(subject), body, firm.email, f"appointment-{slugify(site.name) or site.pk}.ics")
    if mail.kind == Kind.REMINDER:
        return CalendarMail(text, "", b"")
    method = "CANCEL" if mail.kind == Kind.CANCELLATION else "REQUEST"
    entry = _entry(mail, firm, f"{one_line(firm.name)}: {visit.get_kind_display()}", where)
    return CalendarMail(text, method, calendar_file([entry], stamp=mail.created_at, method=method))


def _words(mail: AppointmentMail, work: str) -> tuple[str, list[str]]:
    when = said(mail).words
    if mail.kind == Kind.CANCELLATION:
        lines = ["This appointment is cancelled:", f"    {work},", f"    {when}."]
        if mail.visit.state != Visit.State.CANCELLED:
            lines += ["", "We are sorry. We will send you a new date."]
        return f"Cancelled: {work}", lines
    if mail.kind == Kind.REMINDER:
        return f"Tomorrow: {work}", [f"We will come tomorrow for the {work}:", f"    {when}."]
    if mail.kind == Kind.CHANGE:
        before = mail.visit.appointment_mails.news().filter(sequence__lt=mail.sequence).order_by("-sequence").first()
        lines = [f"Your appointment for the {work} has been moved. It is now:", f"    {when}."]
        if before is not None and before.kind != Kind.CANCELLATION:
            lines += ["Before, it was:", f"    {said(before).words}."]
        return f"New time: {work}", lines
    return f"Appointment: {work}", [f"We will come for the {work}:", f"    {when}."]


def _closing(mail: AppointmentMail) -> Sequence[str]:
    if mail.kind == Kind.CANCELLATION:
        return ["If you have questions, please reply to this mail."]
    return [
        *KEEP_CLEAR.get(mail.visit.kind, ()),
        "Please make sure that we can reach the controller and the water supply.",
        "If the time does not suit you, please reply to this mail or call us.",
    ]


def _where(site: Site) -> str:
    return ", ".join(one_line(part) for part in (site.name, site.address, site.town) if part)


def _entry(mail: AppointmentMail, firm: Firm, summary: str, where: str) -> Entry:
    sender = firm.email or settings.DEFAULT_FROM_EMAIL.rpartition("<")[2].rstrip("> ")
    client = mail.visit.site.client
    starts, ends = hours_in(said(mail), mail.visit.service_min, zoneinfo.ZoneInfo(firm.time_zone))
    return Entry(
        uid=visit_uid(mail.visit),
        sequence=mail.sequence,
        starts=starts,
        ends=ends,
        summary=summary,
        location=where,
        description="Work begins within these hours." if mail.until_time else "",
        cancelled=mail.kind == Kind.CANCELLATION,
        organizer=(one_line(firm.name), sender),
        attendee=(one_line(client.contact_name or client.name), mail.recipient),
    )


def visit_uid(visit: Visit) -> str:
    """The same for ever, and another one than in the technician's feed: a person may subscribe to both."""
    return f"appointment-{visit.uuid}@{settings.DEFAULT_FROM_EMAIL.rpartition('@')[2].strip('> ') or 'localhost'}"


def hours_in(
    told: Told, service_min: int, zone: zoneinfo.ZoneInfo
) -> tuple[dt.datetime | dt.date, dt.datetime | dt.date]:
    """Begin and end for a calendar: the hours told, else the time on site (times, then), else the whole day."""
    if told.begins is None:
        return told.on, told.on + dt.timedelta(days=1)
    begins = dt.datetime.combine(told.on, told.begins, tzinfo=zone)
    if told.until is None:
        return begins, begins + dt.timedelta(minutes=service_min)
    return begins, dt.datetime.combine(told.on, told.until, tzinfo=zone)
