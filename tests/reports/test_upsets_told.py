"""The demo firm's whole next season is planned, upset four times, and every client is told once each time."""

import datetime as dt
import io
import zoneinfo

import pytest
from django.core.management import call_command

from jobs.actions.planning import plan_season, upsets
from jobs.actions.visits import generate_visits, save_window
from jobs.models import PlanRun, SeasonWindow, ServicePlan, Visit
from jobs.queries.planning import firm_today
from reports.actions import appointments
from reports.models import AppointmentMail
from sites.models import Client, Firm, Pump, Site, User

pytestmark = [pytest.mark.django_db, pytest.mark.slow]
NOW = dt.datetime(2030, 1, 1, 9, 0, tzinfo=dt.UTC)
SITES = 8


def at(day: dt.date, clock: str) -> dt.datetime:
    zone = zoneinfo.ZoneInfo(Firm.objects.get().time_zone)
    return dt.datetime.combine(day, dt.time.fromisoformat(clock), tzinfo=zone)


def sweep() -> None:
    """The timetable's work, twice over."""
    for _ in range(2):
        appointments.find_changes(today=firm_today())
        appointments.send_due(now=NOW)


@pytest.fixture
def office(db):
    call_command("demo", sites=SITES, today=firm_today(), stdout=io.StringIO())
    Client.objects.filter(email="").update(email="somebody@example.com")
    return User.objects.filter(role="office").first()


@pytest.fixture
def season(office):
    """Next year's winterizations planned; their first half told. Returns the year."""
    year = firm_today().year + 1
    opens = dt.date(year, 10, 4)
    opens += dt.timedelta(days=(7 - opens.weekday()) % 7)
    for site in Site.objects.all():
        ServicePlan.objects.update_or_create(
            site=site, defaults={"startup": False, "mid_season_visits": 0, "winterisation": True}
        )
    Visit.objects.filter(season_year=year).delete()
    closes = opens + dt.timedelta(days=18)
    save_window(window=SeasonWindow(season_year=year, kind="winterisation", opens_on=opens, due_on=closes), by=office)
    assert generate_visits(season_year=year, by=office) == SITES
    summary = plan_season(
        run=PlanRun(
            season_year=year, kinds=["winterisation"], first_day=opens, last_day=closes, rounds=3, asked_by=office
        )
    )
    assert summary.unplaced == ()
    return year


def told_now(mail_server) -> list[str]:
    """Subjects accepted since last asked."""
    sweep()
    subjects = [str(mail["Subject"]) for mail in mail_server.accepted]
    mail_server.accepted.clear()
    return subjects


def test_each_upset_tells_each_client_it_concerns_once_and_nobody_else(season, office, mail_server):
    today = firm_today()
    visits = Visit.objects.filter(season_year=season, kind="winterisation").order_by("planned_on", "arrives_at")
    appointments.tell(visits=visits, today=today, by=office)
    assert len(told_now(mail_server)) == SITES

    def concerned(replan) -> int:
        """Clients of the proposal's list; whoever keeps the day but gets other hours is on it, too."""
        return len(replan.proposal["tell_clients"])

    # Ill: the technician with the first day of the season.
    first = visits.first()
    day = first.planned_on
    ill = upsets.propose_absence(
        technician=first.technician, first_day=day, last_day=day, now=at(day, "06:30"), by=office
    )
    upsets.accept(replan=ill, now=at(day, "06:35"), by=office)
    assert len(told_now(mail_server)) == concerned(ill)

    # Frost: a week earlier than the latest day now planned.
    last = visits.order_by("-planned_on").first().planned_on
    due = max(last - dt.timedelta(days=7), day + dt.timedelta(days=1))
    frost = upsets.propose_frost(
        season_year=season, due_on=due, now=at(day - dt.timedelta(days=3), "12:00"), by=office
    )
    upsets.accept(replan=frost, now=at(day - dt.timedelta(days=3), "12:05"), by=office)
    assert len(told_now(mail_server)) == concerned(frost)
    assert not visits.filter(planned_on__gt=due).exists()

    # A burst pipe at 10:40 on the day with most visits; the morning's are done, one is under way.
    busy = max(visits, key=lambda v: visits.filter(planned_on=v.planned_on).count()).planned_on
    morning = list(visits.filter(planned_on=busy, arrives_at__lt=dt.time(10, 40)).order_by("arrives_at"))
    *done, under_way = morning
    for visit in done:
        started, ended = (at(busy, f"{clock:%H:%M}") for clock in (visit.arrives_at, visit.leaves_at))
        Visit.objects.filter(pk=visit.pk).update(state="finished", started_at=started, finished_at=ended)
    Visit.objects.filter(pk=under_way.pk).update(state="started", started_at=at(busy, "10:00"))
    # Not everybody may work on a pump, and only those who may would come.
    burst = Site.objects.exclude(pk__in=Pump.objects.values("supply__site")).last()
    call = upsets.propose_call_out(site=burst, service_min=60, begin_by=dt.time(13), now=at(busy, "10:40"), by=office)
    upsets.accept(replan=call, now=at(busy, "10:42"), by=office)
    assert len(told_now(mail_server)) == concerned(call)
    under_way.refresh_from_db()
    assert (under_way.state, under_way.planned_on) == ("started", busy)
    repair = Visit.objects.get(kind="repair", site=burst, season_year=season)
    assert (repair.state, repair.planned_on) == ("planned", busy)

    # A client cancels.
    gone = visits.filter(state="planned", promised=True).last()
    cancelled = upsets.propose_cancellation(visit=gone, reason="sold", now=at(day, "06:00"), by=office)
    upsets.accept(replan=cancelled, now=at(day, "06:01"), by=office)
    subjects = told_now(mail_server)
    assert len(subjects) == 1
    assert subjects[0].startswith("Cancelled:")

    sent = AppointmentMail.objects.values_list("visit", "sequence")
    assert len(set(sent)) == len(sent)
    assert not AppointmentMail.objects.exclude(state="sent").exists()
