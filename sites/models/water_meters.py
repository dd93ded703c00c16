from typing import Self
from zoneinfo import ZoneInfo

from django.conf import settings
from django.core.exceptions import ValidationError
from django.db import models
from django.utils import timezone

from sites.core.rulebook import METER, READING
from sites.core.rulebook.choices import RegisterUnit
from sites.models.people import User
from sites.models.places import Site, site_scope
from sites.models.plant import SiteRows
from sites.models.rows import ScopedRows
from sites.models.ruled import RuledRow, column


class Meter(RuledRow):
    rules = METER
    Unit = RegisterUnit

    site = models.ForeignKey(Site, on_delete=models.CASCADE, related_name="meters")
    serial_number = column(METER["serial_number"])
    unit = column(METER["unit"])
    digits = column(METER["digits"], models.PositiveSmallIntegerField)
    multiplier = column(METER["multiplier"])
    irrigation_only = column(METER["irrigation_only"])
    removed_on = column(METER["removed_on"])

    objects = SiteRows.as_manager()

    class Meta:
        ordering = ["site", "pk"]

    def __str__(self) -> str:
        return f"meter {self.serial_number}"


class MeterReadingQuerySet(ScopedRows["MeterReading"]):
    def visible_to(self, user: User) -> Self:
        return self.filter(site_scope(user, "meter__site"))


class MeterReading(RuledRow):
    rules = READING

    meter = models.ForeignKey(Meter, on_delete=models.CASCADE, related_name="readings")
    read_on = column(READING["read_on"])
    read_at = column(READING["read_at"])
    counter = column(READING["counter"])
    estimated = column(READING["estimated"])
    read_by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL)
    note = column(READING["note"])

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

    def clean(self) -> None:
        wrong = {}
        today = timezone.localdate(timezone=ZoneInfo(self.meter.site.time_zone))
        if self.read_on is not None and self.changes("read_on"):
            if self.read_on > today:
                wrong["read_on"] = "This day has not come yet."
            elif self.meter.readings.filter(read_on=self.read_on).exclude(pk=self.pk).exists():
                wrong["read_on"] = "This meter already has a reading on this day. Edit that one."
        digits = self.meter.digits
        if self.counter is not None and self.changes("counter") and self.counter >= 10**digits:
            wrong["counter"] = f"The counter has {digits} digits before the point."
        if wrong:
            raise ValidationError(wrong)

    @property
    def site(self) -> Site:
        return self.meter.site
