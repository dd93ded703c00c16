import django.core.validators
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("sites", "0001_initial")]

    operations = [
        migrations.AddField(
            model_name="site",
            name="residential",
            field=models.BooleanField(
                default=True,
                help_text="The water allowance of other landscapes is smaller.",
                verbose_name="residential landscape",
            ),
        ),
        migrations.AddField(
            model_name="site",
            name="special_landscape_m2",
            field=models.FloatField(
                default=0,
                help_text="Part of the planted area with a full allowance: edible plants, active play, recycled water.",
                validators=[django.core.validators.MinValueValidator(0)],
                verbose_name="special landscape area",
            ),
        ),
        migrations.AddField(
            model_name="zone",
            name="flow_origin",
            field=models.CharField(
                blank=True,
                choices=[
                    ("measured", "measured on site"),
                    ("design", "from the design or the device's data"),
                    ("unknown", "unknown, use the usual value"),
                ],
                help_text="Where the flow was not found together with rate and uniformity, as after a catch-can test.",
                max_length=10,
                verbose_name="the flow alone is",
            ),
        ),
    ]
