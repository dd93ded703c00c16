import django.core.validators
from django.db import migrations, models

POSITIVE = [django.core.validators.MinValueValidator(0.0001)]


class Migration(migrations.Migration):
    dependencies = [("sites", "0003_client_wants_reminders")]

    operations = [
        migrations.AddField(
            "controller",
            "ends_outputs_itself",
            models.BooleanField(
                default=False,
                help_text="It switches an output off after that output's own longest duration, with no command needed.",
                verbose_name="ends an output by itself",
            ),
        ),
        migrations.AddField(
            "controller",
            "most_valves_open",
            models.PositiveSmallIntegerField(
                default=1,
                help_text="Above 1 only with separate outputs, and as far as the supply feeds them.",
                validators=[
                    django.core.validators.MinValueValidator(1),
                    django.core.validators.MaxValueValidator(8),
                ],
                verbose_name="most zone valves open together",
            ),
        ),
        migrations.AddField(
            "controller",
            "output_v",
            models.FloatField(
                blank=True,
                help_text="V, measured with one valve open.",
                null=True,
                validators=POSITIVE,
                verbose_name="output voltage",
            ),
        ),
        migrations.AddField(
            "controller",
            "pump_relay_va",
            models.FloatField(
                blank=True,
                help_text="VA of the relay's coil.",
                null=True,
                validators=POSITIVE,
                verbose_name="pump relay load",
            ),
        ),
        migrations.AddField(
            "pump",
            "minimum_rest_s",
            models.PositiveIntegerField(
                default=60,
                help_text="Seconds; the motor's nameplate overrides the usual 60.",
                verbose_name="rest between two runs",
            ),
        ),
        migrations.AddField(
            "pump",
            "run_down_s",
            models.PositiveIntegerField(
                default=2,
                help_text="Seconds it still turns after its stop: a valve stays open for so long.",
                verbose_name="run-down",
            ),
        ),
        migrations.AddField(
            "valve",
            "closes_from_s",
            models.FloatField(
                default=0.0,
                help_text="Seconds; 0 where nobody has timed it.",
                validators=[django.core.validators.MinValueValidator(0)],
                verbose_name="soonest shut after",
            ),
        ),
        migrations.AddField(
            "valve",
            "coil_inrush_va",
            models.FloatField(
                blank=True,
                help_text="VA in the first moments.",
                null=True,
                validators=POSITIVE,
                verbose_name="coil inrush load",
            ),
        ),
    ]
