from django.conf import settings
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q

from sites.models import WeatherStation
from sites.models.places import ShownToStaff

# Wide enough that only slips of the pen pass them: common practice, no source.
TEMPERATURE_LIMITS = [MinValueValidator(-60), MaxValueValidator(56)]
RAIN_LIMITS = [MinValueValidator(0), MaxValueValidator(500)]
ET_LIMITS = [MinValueValidator(0), MaxValueValidator(20)]


class DailyWeather(models.Model):
    """One station's day. Measured columns are empty where the station has no such sensor or dropped the value."""

    station = models.ForeignKey(WeatherStation, on_delete=models.CASCADE, related_name="days")
    date = models.DateField()
    precipitation_mm = models.FloatField(null=True, blank=True)
    temp_max_c = models.FloatField(null=True, blank=True)
    temp_min_c = models.FloatField(null=True, blank=True)
    wind_m_s = models.FloatField(null=True, blank=True)
    rh_max_pct = models.FloatField(null=True, blank=True)
    rh_min_pct = models.FloatField(null=True, blank=True)
    radiation_mj_m2 = models.FloatField(null=True, blank=True)
    eto_mm = models.FloatField("reference ET", null=True, blank=True, editable=False)
    eto_method = models.CharField(max_length=160, blank=True, editable=False)

    objects = ShownToStaff.as_manager()

    class Meta:
        ordering = ["station", "date"]
        verbose_name_plural = "daily weather"
        constraints = [
            models.UniqueConstraint(fields=["station", "date"], name="weather_day_once_per_station"),
            models.CheckConstraint(
                name="weather_tmin_not_above_tmax",
                condition=Q(temp_min_c=None) | Q(temp_max_c=None) | Q(temp_min_c__lte=F("temp_max_c")),
            ),
            models.CheckConstraint(
                name="weather_rain_not_negative",
                condition=Q(precipitation_mm=None) | Q(precipitation_mm__gte=0),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.station} {self.date}"


class ForecastDay(models.Model):
    """A coming day as somebody read it in a forecast and typed it in; a measured day takes its place later.

    Any of rain, temperatures and reference ET may be left out: the station's normal stands in.
    """

    station = models.ForeignKey(WeatherStation, on_delete=models.CASCADE, related_name="forecast")
    date = models.DateField()
    temp_max_c = models.FloatField("maximum", null=True, blank=True, validators=TEMPERATURE_LIMITS)
    temp_min_c = models.FloatField("minimum", null=True, blank=True, validators=TEMPERATURE_LIMITS)
    precipitation_mm = models.FloatField("rain", null=True, blank=True, validators=RAIN_LIMITS)
    rain_chance_percent = models.PositiveSmallIntegerField(
        "chance of rain, %", null=True, blank=True, validators=[MaxValueValidator(100)]
    )
    eto_mm = models.FloatField("reference ET", null=True, blank=True, validators=ET_LIMITS)
    eto_method = models.CharField(max_length=160, blank=True, editable=False)
    entered_at = models.DateTimeField(auto_now=True)
    entered_by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.SET_NULL, related_name="+")

    objects = ShownToStaff.as_manager()

    class Meta:
        ordering = ["station", "date"]
        constraints = [
            models.UniqueConstraint(fields=["station", "date"], name="forecast_day_once_per_station"),
            models.CheckConstraint(
                name="forecast_minimum_not_above_maximum",
                condition=Q(temp_max_c=None, temp_min_c=None)
                | Q(temp_max_c__isnull=False, temp_min_c__isnull=False, temp_min_c__lte=F("temp_max_c")),
                violation_error_message="Give both temperatures or none, the minimum not above the maximum.",
            ),
            models.CheckConstraint(
                name="forecast_rain_not_negative",
                condition=Q(precipitation_mm=None) | Q(precipitation_mm__gte=0),
            ),
            models.CheckConstraint(name="forecast_et_not_negative", condition=Q(eto_mm=None) | Q(eto_mm__gte=0)),
        ]

    def __str__(self) -> str:
        return f"{self.station} forecast for {self.date}"


class WeatherImport(models.Model):
    """What a station file held and what became of it, kept so that a bad row can be traced."""

    station = models.ForeignKey(WeatherStation, on_delete=models.CASCADE, related_name="imports")
    at = models.DateTimeField(auto_now_add=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL)
    file_name = models.CharField(max_length=200)
    file_format = models.CharField(max_length=30)
    rows_read = models.PositiveIntegerField()
    rows_stored = models.PositiveIntegerField()
    problems = models.JSONField(default=list, help_text="[{row, column, message}]")
    refused_text = models.TextField(
        blank=True,
        editable=False,
        help_text="The file itself, kept only until its good rows are taken or it is dropped.",
    )

    objects = ShownToStaff.as_manager()

    class Meta:
        ordering = ["-at", "-pk"]

    def __str__(self) -> str:
        return f"{self.file_name} for {self.station}"

    @property
    def refused(self) -> bool:
        """Nothing of the file was stored because of its problems."""
        return bool(self.problems) and not self.rows_stored
