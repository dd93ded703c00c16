"""Loads the demo firm into an empty database, all of it or nothing."""

import datetime as dt
from dataclasses import dataclass

from django.db import transaction

from config.demo import field_tests, meters, people, photos, register, repairs, schedules, seasons, stations, visits
from config.demo.days import shift_of
from config.demo.history import History
from config.demo.register import Progress
from config.demo.sketches import FEWEST_SITES, FIRST_CLIENT_SITE, SECOND_CLIENT_SITE
from jobs.actions.checklists import ensure_default_checklists
from jobs.actions.site_state import record_past_states
from jobs.models import TechnicianProfile
from sites.actions.audit import record
from sites.models import AuditEntry, Client, Firm, Site, User

VERB = "demo_loaded"


class DemoRefused(Exception):
    """The demo cannot be loaded here; the text says why in one line."""


@dataclass(frozen=True)
class Loaded:
    """What an earlier run put here."""

    sites: int
    seed: int
    today: str


def already_loaded() -> Loaded | None:
    entry = AuditEntry.objects.filter(verb=VERB).first()
    return Loaded(**entry.detail) if entry else None


def has_other_data() -> bool:
    return any(model.objects.exists() for model in (Firm, User, Client, Site))


@transaction.atomic
def load_demo(*, sites: int, seed: int, today: dt.date, progress: Progress, units: str = "metric") -> None:
    """Make the firm as it stands on `today`. Raises `DemoRefused`; nothing is written then."""
    if sites < FEWEST_SITES:
        raise DemoRefused(f"The demo needs at least {FEWEST_SITES} sites to hold its planted mistakes.")
    if has_other_data():
        raise DemoRefused("This database already has data of its own; the demo goes only into an empty one.")
    firm = people.make_firm(units)
    with Firm.remembered():
        owner = _fill(sites=sites, seed=seed, today=today, progress=progress)
    record(by=owner, verb=VERB, subject=firm, sites=sites, seed=seed, today=today.isoformat())


def _fill(*, sites: int, seed: int, today: dt.date, progress: Progress) -> User:
    """People, sites, plant, weather and a season of work for the firm; returns its owner."""
    staff = people.make_staff(seed=seed, sites=sites, today=today)
    station = stations.make_stations(today=today, by=staff.owner)
    stations.lengthen_freeze_record(seed=seed, today=today, station=station)
    register.make_register(
        sites=sites, seed=seed, today=today, station=station, tariffs=register.make_tariffs(), progress=progress
    )
    first, second = (Site.objects.order_by("pk")[n].client for n in (FIRST_CLIENT_SITE, SECOND_CLIENT_SITE))
    people.make_client_logins(first, second, staff.password)
    schedules.make_schedules(seed=seed, today=today, station=station, by=staff.owner, progress=progress)
    _make_seasons(seed=seed, today=today, staff=staff, progress=progress)
    schedules.make_drafts(today=today, progress=progress)
    repairs.make_repairs(seed=seed, today=today, by=staff.office)
    photos.make_photos(seed=seed, by=staff.technicians[0], today=today)
    return staff.owner


def _make_seasons(*, seed: int, today: dt.date, staff: people.Staff, progress: Progress) -> None:
    """Visits of last season and this one: the past with what was found, then the coming days."""
    ensure_default_checklists()
    stops = seasons.read_stops()
    seasons.make_visit_terms(stops)
    seasons.make_windows(today)
    plans = seasons.make_service_plans(seed, stops)
    shifts = {row.user_id: shift_of(row) for row in TechnicianProfile.objects.order_by("pk")}
    years = (today.year - 1, today.year)
    rounds = [one for year in years for one in seasons.rounds_of(seed, year, stops, plans)]
    waiting = visits.make_past_visits(seed, rounds, shifts, today)
    History(seed, today).write(stops, progress)
    record_past_states()
    visits.plan_days(
        seed=seed,
        waiting=waiting,
        repairs=visits.open_repairs(stops, today),
        shifts=shifts,
        rota=people.rota(today),
        today=today,
    )
    seasons.give_own_dates(years, staff.owner)
    meters.make_readings(seed=seed, today=today, stops=stops, read_by=staff.technicians[0], progress=progress)
    field_tests.record_catch_cans(seed=seed, today=today, site_id=stops[0].site_id, by=staff.technicians[0])
