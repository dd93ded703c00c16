from typing import Self

from django.conf import settings
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models

from sites.models import Site, User, Zone
from sites.models.places import site_scope
from sites.models.rows import ScopedRows


class CatchCanTestQuerySet(ScopedRows["CatchCanTest"]):
    def visible_to(self, user: User) -> Self:
        return self.filter(site_scope(user, "zone__site"))


class CatchCanTest(models.Model):
    """Equal cans set out over a zone while it runs: what each caught, and the test's circumstances."""

    zone = models.ForeignKey(Zone, on_delete=models.CASCADE, related_name="catch_can_tests")
    tested_on = models.DateField("date of the test")
    minutes = models.FloatField("minutes run", validators=[MinValueValidator(1), MaxValueValidator(600)])
    mouth_cm2 = models.FloatField(
        "mouth of a can",
        validators=[MinValueValidator(5), MaxValueValidator(5000)],
        help_text="cm². A round can of 10.4 cm across has 85 cm².",
    )
    wind_m_s = models.FloatField(
        "wind", null=True, blank=True, validators=[MinValueValidator(0), MaxValueValidator(40)]
    )
    catches_ml = models.JSONField("catches", help_text="ml in each can, row by row over the ground.")
    cans_per_row = models.PositiveSmallIntegerField(
        "cans in a row", null=True, blank=True, validators=[MinValueValidator(1), MaxValueValidator(60)]
    )
    note = models.CharField(max_length=200, blank=True)
    tested_by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.SET_NULL, related_name="+")
    taken_over_at = models.DateTimeField(
        null=True, blank=True, editable=False, help_text="When its figures became the zone's."
    )

    objects = CatchCanTestQuerySet.as_manager()

    class Meta:
        ordering = ["zone", "-tested_on", "-pk"]

    def __str__(self) -> str:
        return f"catch-can test of {self.zone} on {self.tested_on}"

    @property
    def site(self) -> Site:
        return self.zone.site
