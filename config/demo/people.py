"""The firm and the people who sign in. All have the same demo password."""

import datetime as dt
from dataclasses import dataclass
from typing import Any

from django.contrib.auth.hashers import make_password

from config.demo import names
from config.demo.dice import dice
from config.demo.places import TIME_ZONE, YARD
from jobs.models import Absence, Skill, TechnicianProfile, VisitKind
from sites.models import Client, Firm, Role, User

SITES_PER_TECHNICIAN = 90  # three technicians up to 270 sites
HOURS = (("07:30", "16:30"), ("07:00", "16:00"), ("08:00", "17:00"))


@dataclass(frozen=True)
class Staff:
    owner: User
    office: User
    technicians: tuple[User, ...]
    password: str  # as hashed


def make_firm(units: str) -> Firm:
    american = units == Firm.Units.US
    return Firm.objects.create(
        name=names.FIRM,
        address="3 Kiln Street, 00430 Quillamoor",
        phone="+1 206 555 0140",
        email="office@thistledown.example",
        licence_text="Demo firm, not licensed",
        units=units,
        locale=Firm.Locale.AMERICAN if american else Firm.Locale.BRITISH,
        paper=Firm.Paper.LETTER if american else Firm.Paper.A4,
        currency="USD",
        time_zone=TIME_ZONE,
        yard_latitude=YARD[0],
        yard_longitude=YARD[1],
    )


def make_staff(*, seed: int, sites: int, today: dt.date) -> Staff:
    password = make_password(names.PASSWORD)
    owner = _person("owner", "Edda", "Thackery", Role.OWNER, password, is_superuser=True, is_staff=True)
    office = _person("office", "Silas", "Norling", Role.OFFICE, password)
    known = (("Mira", "Castell"), ("Nils", "Okafor"), ("Yara", "Lindqvist"))
    technicians = []
    for n in range(max(3, -(-sites // SITES_PER_TECHNICIAN))):
        rng = dice(seed, "technician", n)
        given, family = known[n] if n < len(known) else (rng.choice(names.GIVEN), rng.choice(names.FAMILY))
        technicians.append(_person(f"tech{n + 1}", given, family, Role.TECHNICIAN, password, number=11 + n))
    TechnicianProfile.objects.bulk_create(_profile(user, n, today) for n, user in enumerate(technicians))
    _give_skills()
    away = today + dt.timedelta(days=20)
    Absence.objects.create(
        technician=technicians[1], starts_on=away, ends_on=away + dt.timedelta(days=4), reason="Holiday"
    )
    return Staff(owner, office, tuple(technicians), password)


def make_client_logins(first: Client, second: Client, password: str) -> None:
    for username, client in (("client1", first), ("client2", second)):
        given, _, family = (client.contact_name or client.name).partition(" ")
        _person(username, given, family, Role.CLIENT, password, client=client)


def rota(today: dt.date) -> list[int]:
    """Working weekdays: Monday to Friday, moved so that today and tomorrow are among them.

    A demo loaded on a Sunday must show a day with work in it.
    """
    needed = {today.weekday(), (today.weekday() + 1) % 7}
    rest = [day for day in range(7) if day not in needed]
    return sorted(needed | set(rest[: 5 - len(needed)]))


def _profile(user: User, n: int, today: dt.date) -> TechnicianProfile:
    starts, ends = HOURS[n % len(HOURS)]
    # The second technician starts from home, the others from the yard.
    home = {"start_latitude": 47.6120, "start_longitude": -122.1450} if n % 3 == 1 else {}
    return TechnicianProfile(
        user=user,
        day_starts_at=dt.time.fromisoformat(starts),
        day_ends_at=dt.time.fromisoformat(ends),
        working_weekdays=rota(today),
        **home,
    )


def works_on_pumps(n: int) -> bool:
    """Whether the technician of this number may: every third may not."""
    return n % 3 != 1


def _give_skills() -> None:
    """Everybody tests backflow assemblies; not everybody works on pumps."""
    profiles = list(TechnicianProfile.objects.order_by("pk"))
    tester = Skill.objects.create(name="Backflow tester", kinds=[VisitKind.STARTUP], plant=Skill.Plant.BACKFLOW)
    tester.technicians.set(profiles)
    pumps = Skill.objects.create(
        name="Pumps and mains power",
        kinds=[VisitKind.STARTUP, VisitKind.WINTERISATION, VisitKind.REPAIR],
        plant=Skill.Plant.PUMP,
    )
    pumps.technicians.set(profile for n, profile in enumerate(profiles) if works_on_pumps(n))


def _person(
    username: str, given: str, family: str, role: Role, password: str, *, number: int | None = None, **more: Any
) -> User:
    return User.objects.create(
        username=username,
        first_name=given,
        last_name=family,
        email=f"{username}@thistledown.example",
        role=role,
        password=password,
        phone=f"+1 206 555 01{number:02d}" if number is not None and number < 100 else "",
        **more,
    )
