"""A small firm with a day to work on, for a `config.served.Served` that starts empty."""

import datetime as dt
import io
from typing import Any

from django.contrib.auth import BACKEND_SESSION_KEY, HASH_SESSION_KEY, SESSION_KEY
from django.contrib.sessions.backends.db import SessionStore
from django.utils import timezone
from PIL import Image

from jobs.models import ChecklistTemplate, TechnicianProfile, Visit
from sites.actions.photos import store_photo
from sites.models import Client, Controller, Firm, Role, Site, User, Valve, WaterSupply, Zone


def make_day(
    *, technicians: int = 1, visits: int = 1, valves: int = 2, photos: int = 0, kind: str = "winterisation"
) -> dict[str, Any]:
    """An office person, and technicians each with `visits` of today at sites with `valves` and `photos` each.

    Returns {"office": session, "people": [{"name", "id", "session", "visits": [...]}], "items": [...]}; `session` is
    the value of a signed-in session cookie, `items` are the checklist's steps.
    """
    Firm.objects.create(name="Served Test Irrigation", time_zone="UTC")
    items = ChecklistTemplate.objects.get(kind=kind, current=True).items.values("pk", "key", "answer", "gate")
    people = []
    for number in range(technicians):
        user = User.objects.create(
            username=f"tech{number}", first_name="Tess", last_name=f"No{number}", role="technician"
        )
        TechnicianProfile.objects.create(user=user)
        own = [_visit(user, f"Court {number}.{place + 1}", place, kind, valves, photos) for place in range(visits)]
        people.append({"name": str(user), "id": user.pk, "session": session_of(user), "visits": own})
    office = User.objects.create(username="office", role=Role.OFFICE)
    return {"office": session_of(office), "people": people, "items": list(items)}


def _visit(user: User, name: str, place: int, kind: str, valves: int, photos: int) -> dict[str, Any]:
    site = Site.objects.create(
        client=Client.objects.create(name=name),
        name=name,
        address="1 Test Lane",
        town="Testham",
        latitude=47.6,
        longitude=-122.3,
        time_zone="UTC",
        access_notes="Gate on the left.",
    )
    rows = _plant(site, valves)
    for shade in range(photos):
        _photo(site, shade)
    today = timezone.localdate()
    visit = Visit.objects.create(
        site=site,
        kind=kind,
        season_year=today.year,
        opens_on=today,
        due_on=today + dt.timedelta(days=30),
        technician=user,
        planned_on=today,
        position=place,
        state="planned",
        service_min=45,
    )
    return {"uuid": str(visit.uuid), "pk": visit.pk, "site": name, "valves": [row.pk for row in rows]}


def _plant(site: Site, valves: int) -> list[Valve]:
    supply = WaterSupply.objects.create(site=site, kind="mains", static_pressure_kpa=420, flow_available_l_min=60)
    controller = Controller.objects.create(site=site, supply=supply, terminals=valves, transformer_va=40)
    rows = []
    for number in range(1, valves + 1):
        valve = Valve.objects.create(
            controller=controller,
            terminal=number,
            name=f"Valve {number}",
            coil_resistance_ohm=32.0,
            wire_length_m=60.0,
            wire_section_mm2=0.823,
        )
        Zone.objects.create(
            site=site,
            valve=valve,
            number=number,
            name=f"Lawn {number}",
            area_m2=100,
            planting="cool_turf",
            soil="loam",
            emitter="rotor",
            application_rate_mm_h=12,
            distribution_uniformity=0.65,
            flow_l_min=20,
        )
        rows.append(valve)
    return rows


def _photo(site: Site, shade: int) -> None:
    file = io.BytesIO()
    Image.new("RGB", (800, 600), (40 * shade % 255, 120, 60)).save(file, "JPEG")
    store_photo(site=site, upload=file, caption=f"Photo {shade + 1}", taken_at=timezone.now(), by=None)


def session_of(user: User) -> str:
    """A signed-in session without a sign-in, whose password hash alone costs half a second."""
    session = SessionStore()
    session[SESSION_KEY] = str(user.pk)
    session[BACKEND_SESSION_KEY] = "django.contrib.auth.backends.ModelBackend"
    session[HASH_SESSION_KEY] = user.get_session_auth_hash()
    session.create()
    assert session.session_key
    return session.session_key
