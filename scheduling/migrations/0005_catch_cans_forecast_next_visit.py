import django.core.validators
import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("scheduling", "0004_room_for_method_words"),
        ("sites", "0002_landscape_and_flow_origin"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.AddField(
            model_name="seasonschedule",
            name="for_next_visit_at",
            field=models.DateTimeField(
                blank=True,
                help_text="When this draft was put on the sheet of the site's next visit.",
                null=True,
            ),
        ),
        migrations.CreateModel(
            name="CatchCanTest",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("tested_on", models.DateField(verbose_name="date of the test")),
                (
                    "minutes",
                    models.FloatField(
                        validators=[
                            django.core.validators.MinValueValidator(1),
                            django.core.validators.MaxValueValidator(600),
                        ],
                        verbose_name="minutes run",
                    ),
                ),
                (
                    "mouth_cm2",
                    models.FloatField(
                        help_text="cm². A round can of 10.4 cm across has 85 cm².",
                        validators=[
                            django.core.validators.MinValueValidator(5),
                            django.core.validators.MaxValueValidator(5000),
                        ],
                        verbose_name="mouth of a can",
                    ),
                ),
                (
                    "wind_m_s",
                    models.FloatField(
                        blank=True,
                        null=True,
                        validators=[
                            django.core.validators.MinValueValidator(0),
                            django.core.validators.MaxValueValidator(40),
                        ],
                        verbose_name="wind",
                    ),
                ),
                (
                    "catches_ml",
                    models.JSONField(
                        help_text="Millilitres of each can, row by row over the ground.", verbose_name="catches"
                    ),
                ),
                (
                    "cans_per_row",
                    models.PositiveSmallIntegerField(
                        blank=True,
                        null=True,
                        validators=[
                            django.core.validators.MinValueValidator(1),
                            django.core.validators.MaxValueValidator(60),
                        ],
                        verbose_name="cans in a row",
                    ),
                ),
                ("note", models.CharField(blank=True, max_length=200)),
                (
                    "taken_over_at",
                    models.DateTimeField(
                        blank=True, editable=False, help_text="When its figures became the zone's.", null=True
                    ),
                ),
                (
                    "tested_by",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.SET_NULL,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "zone",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="catch_can_tests",
                        to="sites.zone",
                    ),
                ),
            ],
            options={"ordering": ["zone", "-tested_on", "-pk"]},
        ),
        migrations.CreateModel(
            name="ForecastDay",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("date", models.DateField()),
                ("temp_max_c", models.FloatField(verbose_name="maximum")),
                ("temp_min_c", models.FloatField(verbose_name="minimum")),
                ("precipitation_mm", models.FloatField(default=0, verbose_name="rain")),
                (
                    "eto_mm",
                    models.FloatField(
                        editable=False, help_text="From the temperatures alone.", verbose_name="reference ET"
                    ),
                ),
                ("entered_at", models.DateTimeField(auto_now=True)),
                (
                    "entered_by",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.SET_NULL,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "station",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="forecast",
                        to="sites.weatherstation",
                    ),
                ),
            ],
            options={
                "ordering": ["station", "date"],
                "constraints": [
                    models.UniqueConstraint(fields=("station", "date"), name="forecast_day_once_per_station"),
                    models.CheckConstraint(
                        condition=models.Q(("temp_min_c__lte", models.F("temp_max_c"))),
                        name="forecast_minimum_not_above_maximum",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("precipitation_mm__gte", 0)), name="forecast_rain_not_negative"
                    ),
                ],
            },
        ),
    ]
