from django.conf import settings
from django.db import models


class CalendarFeed(models.Model):
    """A technician's private calendar address. Only the token's hash is kept: the address is shown once."""

    technician = models.OneToOneField(
        settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="calendar_feed"
    )
    token_sha256 = models.CharField(max_length=64, unique=True)
    made_at = models.DateTimeField(auto_now_add=True)

    def __str__(self) -> str:
        return f"calendar of {self.technician}"
