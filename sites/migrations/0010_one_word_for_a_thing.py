import django.core.validators
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("sites", "0009_state_changes")]

    operations = [
        migrations.RenameField("meterreading", "register", "counter"),
        migrations.RenameField("controller", "has_percent_setting", "has_seasonal_percentage"),
        migrations.AlterField(
            model_name='client',
            name='wants_reminders',
            field=models.BooleanField(default=True, help_text='Appointments themselves are always told.', verbose_name='reminder by email the day before a visit'),
        ),
        migrations.AlterField(
            model_name='controller',
            name='has_seasonal_percentage',
            field=models.BooleanField(default=True, verbose_name='has one seasonal percentage for all zones'),
        ),
        migrations.AlterField(
            model_name='meter',
            name='multiplier',
            field=models.FloatField(default=1, help_text='One step of the counter is this many units.', validators=[django.core.validators.MinValueValidator(0.0001)]),
        ),
        migrations.AlterField(
            model_name='meterreading',
            name='counter',
            field=models.DecimalField(decimal_places=3, max_digits=13, validators=[django.core.validators.MinValueValidator(0)], verbose_name='counter reading'),
        ),
        migrations.AlterField(
            model_name='meterreading',
            name='read_at',
            field=models.TimeField(blank=True, help_text='Two readings with their times, in the evening and the next morning, show a leak.', null=True, verbose_name='time of day'),
        ),
    ]
