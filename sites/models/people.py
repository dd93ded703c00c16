import zoneinfo
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from typing import Any, ClassVar, Self

from django.contrib.auth.models import AbstractUser, UserManager
from django.core.exceptions import ValidationError
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models

from sites.core.rulebook import CLIENT
from sites.core.rulebook.choices import Language, ReportAs
from sites.core.writing import written_for
from sites.models.rows import Row, ScopedRows
from sites.models.ruled import RuledRow, column

NOT_A_TIME_ZONE = "Not a time zone name. Write it as Continent/City, for example Europe/Vienna."


def validate_time_zone(name: str) -> None:
    if name not in zoneinfo.available_timezones():
        raise ValidationError(NOT_A_TIME_ZONE)


LATITUDE = [MinValueValidator(-90), MaxValueValidator(90)]
LONGITUDE = [MinValueValidator(-180), MaxValueValidator(180)]


_remembered_firm: "ContextVar[Firm | None]" = ContextVar("remembered_firm", default=None)


class Firm(models.Model):
    """The contractor this installation belongs to. One row."""

    class Units(models.TextChoices):
        METRIC = "metric", "metric (m², mm, L/min, kPa)"
        US = "us", "US customary (ft², in, gpm, psi)"

    class Locale(models.TextChoices):
        """How dates and numbers are written; what a client reads follows the client's language."""

        BRITISH = "en-GB", "4 Apr 2026 (English, day first)"
        AMERICAN = "en-US", "Apr 4, 2026 (English, month first)"

    class Paper(models.TextChoices):
        A4 = "a4", "A4"
        LETTER = "letter", "US Letter"

    name = models.CharField(max_length=120)
    address = models.CharField(max_length=200, blank=True)
    phone = models.CharField(max_length=40, blank=True)
    email = models.EmailField(blank=True)
    licence_text = models.CharField(
        max_length=120,
        blank=True,
        help_text="Printed in the footer of every document, e.g. a registration number.",
    )
    units = models.CharField(max_length=6, choices=Units, default=Units.METRIC)
    locale = models.CharField("dates", max_length=5, choices=Locale, default=Locale.BRITISH)
    paper = models.CharField(max_length=6, choices=Paper, default=Paper.A4)
    currency = models.CharField(max_length=3, default="USD", help_text="ISO 4217 code.")
    time_zone = models.CharField(max_length=60, default="UTC", validators=[validate_time_zone])
    yard_latitude = models.FloatField(default=0.0, validators=LATITUDE)
    yard_longitude = models.FloatField(default=0.0, validators=LONGITUDE)

    def __str__(self) -> str:
        return self.name

    @classmethod
    def current(cls) -> "Firm":
        """The firm's row, or an unsaved default before the firm is set up."""
        return _remembered_firm.get() or cls.objects.order_by("pk").first() or cls(name="Rillbook")

    @classmethod
    @contextmanager
    def remembered(cls) -> "Iterator[Firm]":
        """Read the row once for a whole request or task, and write dates and numbers as the firm does."""
        token = _remembered_firm.set(cls.current())
        try:
            with written_for(cls.current().locale):
                yield cls.current()
        finally:
            _remembered_firm.reset(token)


class ClientQuerySet(ScopedRows["Client"]):
    def visible_to(self, user: "User") -> Self:
        if user.role in (Role.OWNER, Role.OFFICE):
            return self
        if user.role == Role.CLIENT and user.client_id:
            return self.filter(pk=user.client_id)
        return self.none()

    def current(self) -> Self:
        return self.filter(archived_at=None)


class Client(RuledRow):
    """Who owns the sites and gets the season report."""

    rules = CLIENT
    ReportAs = ReportAs
    Language = Language

    name = column(CLIENT["name"])
    contact_name = column(CLIENT["contact_name"])
    email = column(CLIENT["email"])
    phone = column(CLIENT["phone"])
    billing_address = column(CLIENT["billing_address"])
    wants_season_report_by_email = column(CLIENT["wants_season_report_by_email"])
    report_as = column(CLIENT["report_as"])
    language = column(CLIENT["language"])
    wants_reminders = column(CLIENT["wants_reminders"])
    office_notes = column(CLIENT["office_notes"])
    archived_at = models.DateTimeField(null=True, blank=True, editable=False)

    objects = ClientQuerySet.as_manager()

    class Meta:
        ordering = ["name", "pk"]

    def __str__(self) -> str:
        return self.name


class Role(models.TextChoices):
    OWNER = "owner", "owner"
    OFFICE = "office", "office"
    TECHNICIAN = "technician", "technician"
    CLIENT = "client", "client"


class PeopleRows(ScopedRows[Row]):
    def visible_to(self, user: "User") -> Self:
        """The office sees all accounts, everyone else only the own."""
        return self if user.is_office else self.filter(pk=user.pk)


class People(UserManager.from_queryset(PeopleRows)):  # type: ignore[misc]  # a base made by a call is no type
    """Accounts; a named class, because migrations write it down."""

    def create_superuser(
        self, username: str, email: str | None = None, password: str | None = None, **fields: Any
    ) -> "User":
        """Who is made from a shell may do everything: the owner, who then enters firm and people."""
        return super().create_superuser(username, email, password, **({"role": Role.OWNER} | fields))


class User(AbstractUser):
    """A person who signs in. A new account is a client without a client: it can open nothing."""

    role = models.CharField(max_length=10, choices=Role, default=Role.CLIENT)
    client = models.ForeignKey(Client, null=True, blank=True, on_delete=models.PROTECT, related_name="people")
    phone = models.CharField(max_length=40, blank=True)

    objects: ClassVar[People] = People()

    class Meta(AbstractUser.Meta):
        constraints = [
            models.CheckConstraint(
                name="user_client_only_for_clients",
                condition=models.Q(client=None) | models.Q(role=Role.CLIENT),
                violation_error_message="Only a person with the role client belongs to a client.",
            )
        ]

    def __str__(self) -> str:
        return self.get_full_name() or self.username

    @property
    def is_office(self) -> bool:
        return self.role in (Role.OWNER, Role.OFFICE)

    @property
    def is_technician(self) -> bool:
        return self.role == Role.TECHNICIAN
