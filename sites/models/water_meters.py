from typing import Self

from django.conf import settings
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models

from sites.models.people import User
from sites.models.places import Site, site_scope
from sites.models.plant import SiteRows
from sites.models.rows import ScopedRows


class Meter(models.Model):
    class Unit(models.TextChoices):
        M3 = "m3", "m³"
        LITRE = "litre", "L"
        US_GALLON = "us_gallon", "US gal"
        KGAL = "kgal", "1,000 US gal"
        CCF = "ccf", "100 ft³"
        FT3 = "ft3", "ft³"

    site = models.ForeignKey(Site, on_delete=models.CASCADE, related_name="meters")
    serial_number = models.CharField(max_length=60)
    unit = models.CharField(max_length=12, choices=Unit, default=Unit.M3)
    digits = models.PositiveSmallIntegerField(
        "digits before the point", default=6, validators=[MinValueValidator(3), MaxValueValidator(9)]
    )
    multiplier = models.FloatField(
        default=1, validators=[MinValueValidator(0.0001)], help_text="One step of the counter is this many units."
    )
    irrigation_only = models.BooleanField(default=True)
    removed_on = models.DateField(null=True, blank=True)

    objects = SiteRows.as_manager()

    class Meta:
        ordering = ["site", "pk"]

    def __str__(self) -> str:
        return f"meter {self.serial_number}"


class MeterReadingQuerySet(ScopedRows["MeterReading"]):
    def visible_to(self, user: User) -> Self:
        return self.filter(site_scope(user, "meter__site"))


class MeterReading(models.Model):
    meter = models.ForeignKey(Meter, on_delete=models.CASCADE, related_name="readings")
    read_on = models.DateField()
    read_at = models.TimeField(
        "time of day",
        null=True,
        blank=True,
        help_text="Two readings with their times, in the evening and the next morning, show a leak.",
    )
    counter = models.DecimalField(
        "counter reading", max_digits=13, decimal_places=3, validators=[MinValueValidator(0)]
    )
    estimated = models.BooleanField(default=False)
    read_by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL)
    note = models.CharField(max_length=200, blank=True)

    objects = MeterReadingQuerySet.as_manager()

    class Meta:
        ordering = ["meter", "read_on"]
        constraints = [
            models.UniqueConstraint(
                fields=["meter", "read_on"],
                name="meter_read_once_a_day",
                violation_error_message="This meter already has a reading on this date.",
            )
        ]

    def __str__(self) -> str:
        return f"{self.meter} on {self.read_on}: {self.counter}"

    @property
    def site(self) -> Site:
        return self.meter.site
