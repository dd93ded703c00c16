from typing import Self

from django.conf import settings
from django.core.exceptions import ValidationError
from django.db import models
from django.db.models import Q

from sites.core.rulebook import SITE, STATION, TARIFF, TARIFF_BLOCK
from sites.core.rulebook.choices import PermittedDays
from sites.core.rulebook.fields import NOT_AMONG
from sites.models.people import Client, Role, User, validate_time_zone
from sites.models.rows import Row, ScopedRows
from sites.models.ruled import RuledRow, column

WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")


def every_weekday() -> list[int]:
    return [0, 1, 2, 3, 4, 5, 6]


def validate_weekdays(value: list) -> None:
    if refused := SITE["permitted_weekdays"].refusal(value):
        raise ValidationError(refused)


class ShownToStaff(ScopedRows[Row]):
    """Rows that belong to no client: the firm's people may read them, clients may not."""

    def visible_to(self, user: User) -> Self:
        return self.none() if user.role == Role.CLIENT else self


class WeatherStation(RuledRow):
    """Where daily weather comes from; its rows are `scheduling.DailyWeather`."""

    rules = STATION

    code = column(STATION["code"], unique=True)
    name = column(STATION["name"])
    latitude = column(STATION["latitude"])
    longitude = column(STATION["longitude"])
    elevation_m = column(STATION["elevation_m"])
    wind_height_m = column(STATION["wind_height_m"])
    coastal = column(STATION["coastal"])

    objects = ShownToStaff.as_manager()

    class Meta:
        ordering = ["name", "pk"]

    def __str__(self) -> str:
        return self.name


class Tariff(RuledRow):
    """A water price in blocks by month: fixed charge plus a price per m³ that changes with the amount."""

    rules = TARIFF

    name = column(TARIFF["name"])
    fixed_per_month = column(TARIFF["fixed_per_month"])

    objects = ShownToStaff.as_manager()

    class Meta:
        ordering = ["name", "pk"]

    def __str__(self) -> str:
        return self.name


class TariffBlock(RuledRow):
    rules = TARIFF_BLOCK

    tariff = models.ForeignKey(Tariff, on_delete=models.CASCADE, related_name="blocks")
    from_m3 = column(TARIFF_BLOCK["from_m3"])
    price_per_m3 = column(TARIFF_BLOCK["price_per_m3"])

    class Meta:
        ordering = ["tariff", "from_m3"]
        constraints = [models.UniqueConstraint(fields=["tariff", "from_m3"], name="tariff_block_once")]

    def __str__(self) -> str:
        return f"{self.tariff}: from {self.from_m3:g} m³"


class SiteQuerySet(ScopedRows["Site"]):
    def visible_to(self, user: User) -> Self:
        return self.filter(site_scope(user, prefix=""))

    def current(self) -> Self:
        return self.filter(archived_at=None)


class Site(RuledRow):
    """A place the firm looks after."""

    rules = SITE
    PermittedDays = PermittedDays

    client = models.ForeignKey(Client, on_delete=models.PROTECT, related_name="sites")
    name = column(SITE["name"])
    address = column(SITE["address"])
    town = column(SITE["town"])
    postcode = column(SITE["postcode"])
    latitude = column(SITE["latitude"])
    longitude = column(SITE["longitude"])
    elevation_m = column(SITE["elevation_m"])
    time_zone = column(SITE["time_zone"], validators=[validate_time_zone])
    opens_at = column(SITE["opens_at"])
    closes_at = column(SITE["closes_at"])
    open_weekdays = column(SITE["open_weekdays"], default=every_weekday)
    access_notes = column(SITE["access_notes"])
    office_notes = column(SITE["office_notes"])
    weather_station = models.ForeignKey(
        WeatherStation, null=True, blank=True, on_delete=models.PROTECT, related_name="sites"
    )
    permitted_days = column(SITE["permitted_days"])
    permitted_weekdays = column(SITE["permitted_weekdays"], default=every_weekday)
    watering_window_start = column(SITE["watering_window_start"])
    watering_window_end = column(SITE["watering_window_end"])
    tariff = models.ForeignKey(Tariff, null=True, blank=True, on_delete=models.PROTECT, related_name="sites")
    residential = column(SITE["residential"])
    special_landscape_m2 = column(SITE["special_landscape_m2"])
    archived_at = models.DateTimeField(null=True, blank=True, editable=False)

    objects = SiteQuerySet.as_manager()

    class Meta:
        ordering = ["name", "pk"]
        constraints = [
            models.CheckConstraint(
                name="site_closes_after_it_opens",
                condition=Q(closes_at__gt=models.F("opens_at")),
                violation_error_message="The closing time must be after the opening time.",
            ),
        ]

    def __str__(self) -> str:
        return self.name

    def clean(self) -> None:
        if self.changes("client") and self.client_id and self.client.archived_at:
            raise ValidationError({"client": NOT_AMONG})

    @property
    def full_address(self) -> str:
        return ", ".join(part for part in (self.address, f"{self.postcode} {self.town}".strip()) if part)


def site_scope(user: User, prefix: str = "site") -> Q:
    """The condition "rows of a site this person may see", for any model that reaches a site by `prefix`.

    Owner and office see all; a technician sees the sites of visits assigned to them; a client sees own sites.
    """
    path = f"{prefix}__" if prefix else ""
    if user.role in (Role.OWNER, Role.OFFICE):
        return Q()
    if user.role == Role.TECHNICIAN:
        # `visits` is the reverse side of jobs.Visit.technician: the one place where `sites` knows that
        # there is an app above, so that no list of assigned sites has to be kept in step by hand.
        return Q(**{f"{path}pk__in": user.visits.exclude(state="cancelled").values("site_id")})
    if user.role == Role.CLIENT and user.client_id:
        return Q(**{f"{path}client_id": user.client_id, f"{path}archived_at": None})
    return Q(pk__in=[])


class PhotoQuerySet(ScopedRows["Photo"]):
    def visible_to(self, user: User) -> Self:
        """Not for clients: a picture may show a key box; what is theirs stands in the report."""
        return self.none() if user.role == Role.CLIENT else self.filter(site_scope(user))


class Photo(models.Model):
    """A picture of a site or of something on it, re-encoded on arrival so that nothing hides in the file."""

    site = models.ForeignKey(Site, on_delete=models.CASCADE, related_name="photos")
    image = models.ImageField(upload_to="photos/%Y/%m/", width_field="width_px", height_field="height_px")
    width_px = models.PositiveIntegerField(editable=False, default=0)
    height_px = models.PositiveIntegerField(editable=False, default=0)
    caption = models.CharField(max_length=200, blank=True)
    taken_at = models.DateTimeField()
    uploaded_by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.SET_NULL)

    objects = PhotoQuerySet.as_manager()

    class Meta:
        ordering = ["-taken_at", "-pk"]

    def __str__(self) -> str:
        return self.caption or f"photo {self.pk}"
