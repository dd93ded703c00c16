from django.conf import settings
from django.db import models
from django.utils import timezone

from jobs.models.team import OfficeRows
from jobs.models.visits import Visit


class ClientTold(models.Model):
    """What a person told a client about one visit: a promised day with its hours, or words on the telephone."""

    visit = models.ForeignKey(Visit, on_delete=models.CASCADE, related_name="told")
    at = models.DateTimeField(default=timezone.now)
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    on_date = models.DateField("promised day", null=True, blank=True)
    from_time = models.TimeField(null=True, blank=True, help_text="Empty: the day only.")
    until_time = models.TimeField(null=True, blank=True)
    words = models.CharField(max_length=200, blank=True, help_text="What was said on the telephone.")

    objects = OfficeRows.as_manager()

    class Meta:
        ordering = ["at", "pk"]
        verbose_name_plural = "what clients were told"

    def __str__(self) -> str:
        return f"{self.visit}: {self.words or self.on_date}"
