from django.db import models

# Degrees are kept to five decimals, about a metre: a site that is moved by a hand's breadth keeps its legs.
DECIMALS = 5


class TravelLeg(models.Model):
    """How long the drive from one place to another takes, as a road server answered once. May be deleted any time.

    `map_version` names the map it was computed on; another map is asked again. `estimated` means that the server
    found no way and the figure comes from geometry.
    """

    map_version = models.CharField(max_length=60)
    from_place = models.CharField(max_length=24, help_text="latitude,longitude")
    to_place = models.CharField(max_length=24, help_text="latitude,longitude")
    seconds = models.PositiveIntegerField()
    metres = models.PositiveIntegerField()
    estimated = models.BooleanField(default=False)
    source = models.CharField(max_length=80)
    asked_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["map_version", "from_place", "to_place"], name="travel_leg_once")
        ]

    def __str__(self) -> str:
        return f"{self.from_place} to {self.to_place}: {self.seconds} s"
