from typing import Self

from django.conf import settings
from django.core.exceptions import ValidationError
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q

from sites.models.people import LATITUDE, LONGITUDE, Client, Role, User, validate_time_zone
from sites.models.rows import Row, ScopedRows

WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")


def every_weekday() -> list[int]:
    return [0, 1, 2, 3, 4, 5, 6]


def validate_weekdays(value: list) -> None:
    if not isinstance(value, list) or any(type(day) is not int or not 0 <= day <= 6 for day in value):
        raise ValidationError("Weekdays are a list of whole numbers, 0 for Monday to 6 for Sunday.")
    if len(set(value)) != len(value):
        raise ValidationError("A weekday is in the list twice.")


class ShownToStaff(ScopedRows[Row]):
    """Rows that belong to no client: the firm's people may read them, clients may not."""

    def visible_to(self, user: User) -> Self:
        return self.none() if user.role == Role.CLIENT else self


class WeatherStation(models.Model):
    """Where daily weather comes from; its rows are `scheduling.DailyWeather`."""

    code = models.CharField(max_length=40, unique=True, help_text="The station's identifier, e.g. its GHCN id.")
    name = models.CharField(max_length=120)
    latitude = models.FloatField(validators=LATITUDE)
    longitude = models.FloatField(validators=LONGITUDE)
    elevation_m = models.FloatField(default=0)
    wind_height_m = models.FloatField(default=10, validators=[MinValueValidator(0.5)])
    coastal = models.BooleanField(
        default=False,
        help_text="Radiation is estimated from temperature with kRs 0.19 at a coast, 0.16 inland.",
    )

    objects = ShownToStaff.as_manager()

    class Meta:
        ordering = ["name", "pk"]

    def __str__(self) -> str:
        return self.name


class Tariff(models.Model):
    """A water price in blocks by month: fixed charge plus a price per m³ that changes with the amount."""

    name = models.CharField(max_length=120)
    fixed_per_month = models.DecimalField(max_digits=9, decimal_places=2, default=0)

    objects = ShownToStaff.as_manager()

    class Meta:
        ordering = ["name", "pk"]

    def __str__(self) -> str:
        return self.name


class TariffBlock(models.Model):
    tariff = models.ForeignKey(Tariff, on_delete=models.CASCADE, related_name="blocks")
    from_m3 = models.FloatField(validators=[MinValueValidator(0)])
    price_per_m3 = models.DecimalField(max_digits=9, decimal_places=4, validators=[MinValueValidator(0)])

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


class Site(models.Model):
    """A place the firm looks after."""

    class PermittedDays(models.TextChoices):
        ANY = "any", "any day"
        WEEKDAYS = "weekdays", "named weekdays"
        ODD = "odd", "odd dates"
        EVEN = "even", "even dates"

    client = models.ForeignKey(Client, on_delete=models.PROTECT, related_name="sites")
    name = models.CharField(max_length=160)
    address = models.CharField(max_length=200)
    town = models.CharField(max_length=100)
    postcode = models.CharField(max_length=20, blank=True)
    latitude = models.FloatField(validators=LATITUDE, help_text="Decimal degrees, south is negative.")
    longitude = models.FloatField(validators=LONGITUDE, help_text="Decimal degrees, west is negative.")
    elevation_m = models.FloatField(
        "elevation", default=0, validators=[MinValueValidator(-430), MaxValueValidator(6000)]
    )
    time_zone = models.CharField(max_length=60, validators=[validate_time_zone])
    opens_at = models.TimeField("open from", default="07:00", help_text="When a technician may enter.")
    closes_at = models.TimeField("open until", default="18:00")
    open_weekdays = models.JSONField(default=every_weekday, validators=[validate_weekdays])
    access_notes = models.TextField(blank=True, help_text="Gates, dogs, keys. Shown to the assigned technician.")
    office_notes = models.TextField(blank=True, help_text="For the office only; never printed for the client.")
    weather_station = models.ForeignKey(
        WeatherStation, null=True, blank=True, on_delete=models.PROTECT, related_name="sites"
    )
    permitted_days = models.CharField(
        "permitted watering days", max_length=10, choices=PermittedDays, default=PermittedDays.ANY
    )
    permitted_weekdays = models.JSONField(default=every_weekday, validators=[validate_weekdays], blank=True)
    watering_window_start = models.TimeField("watering allowed from", default="22:00")
    watering_window_end = models.TimeField(
        "watering allowed until", default="08:00", help_text="May lie after midnight."
    )
    tariff = models.ForeignKey(Tariff, null=True, blank=True, on_delete=models.PROTECT, related_name="sites")
    residential = models.BooleanField(
        "residential landscape", default=True, help_text="The water allowance of other landscapes is smaller."
    )
    special_landscape_m2 = models.FloatField(
        "special landscape area",
        default=0,
        validators=[MinValueValidator(0)],
        help_text="Part of the planted area with a full allowance: edible plants, active play, recycled water.",
    )
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
