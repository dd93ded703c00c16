import django.core.validators
from django.db import migrations, models

import scheduling.models.schedule


class Migration(migrations.Migration):
    dependencies = [("scheduling", "0005_catch_cans_forecast_next_visit")]

    operations = [
        migrations.AddField(
            "program",
            "active_from",
            models.DateField(blank=True, null=True, verbose_name="first day"),
        ),
        migrations.AddField(
            "program",
            "active_until",
            models.DateField(blank=True, null=True, verbose_name="last day"),
        ),
        migrations.AddField(
            "program",
            "counted_from",
            models.DateField(blank=True, help_text="A day on which the interval falls.", null=True),
        ),
        migrations.AddField(
            "program",
            "day_rule",
            models.CharField(
                choices=[
                    ("weekdays", "on weekdays"),
                    ("interval", "every n days"),
                    ("odd", "on odd dates, without the 31st"),
                    ("even", "on even dates"),
                ],
                default="weekdays",
                max_length=10,
                verbose_name="days",
            ),
        ),
        migrations.AddField(
            "program", "enabled", models.BooleanField(default=True, verbose_name="program is on")
        ),
        migrations.AddField(
            "program",
            "every_n_days",
            models.PositiveSmallIntegerField(
                default=2,
                validators=[
                    django.core.validators.MinValueValidator(1),
                    django.core.validators.MaxValueValidator(60),
                ],
            ),
        ),
        migrations.AddField(
            "program",
            "further_starts",
            models.JSONField(
                blank=True, default=list, validators=[scheduling.models.schedule.validate_clock_times]
            ),
        ),
        migrations.AddConstraint(
            "program",
            models.CheckConstraint(
                condition=models.Q(
                    ("active_from", None),
                    ("active_until", None),
                    ("active_until__gte", models.F("active_from")),
                    _connector="OR",
                ),
                name="program_ends_after_it_begins",
                violation_error_message="The last day must not lie before the first.",
            ),
        ),
        migrations.AddConstraint(
            "program",
            models.CheckConstraint(
                condition=models.Q(("every_n_days__gte", 1)), name="program_interval_at_least_a_day"
            ),
        ),
    ]
