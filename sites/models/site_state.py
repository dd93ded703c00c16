from django.conf import settings
from django.db import models
from django.db.models import Q

from sites.core import site_state
from sites.models.places import Site
from sites.models.plant import SiteRows


class StateChange(models.Model):
    """A site's water turned on or off on a day: by a visit, or by hand with a reason. The latest day counts."""

    class State(models.TextChoices):
        OFF = site_state.OFF, site_state.WORDS[site_state.OFF]
        FILLING = site_state.FILLING, site_state.WORDS[site_state.FILLING]
        ON = site_state.ON, site_state.WORDS[site_state.ON]
        WINTER = site_state.WINTER, site_state.WORDS[site_state.WINTER]

    site = models.ForeignKey(Site, on_delete=models.CASCADE, related_name="state_changes")
    state = models.CharField("the site is", max_length=8, choices=State)
    changed_on = models.DateField("from", help_text="This day counts for the new state.")
    reason = models.CharField(max_length=200)
    # A visit stands one app further up, so it is named by its own number and no key points to it.
    visit_uuid = models.UUIDField("the visit it comes from", null=True, blank=True, editable=False)
    recorded_at = models.DateTimeField(auto_now_add=True)
    recorded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, editable=False, on_delete=models.SET_NULL, related_name="+"
    )

    objects = SiteRows.as_manager()

    class Meta:
        ordering = ["site", "changed_on", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["visit_uuid", "state"], condition=Q(visit_uuid__isnull=False), name="state_once_a_visit"
            )
        ]
        indexes = [models.Index(fields=["site", "changed_on"])]

    def __str__(self) -> str:
        return f"{self.site} {self.get_state_display()} from {self.changed_on}"
