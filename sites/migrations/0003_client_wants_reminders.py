from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("sites", "0002_landscape_and_flow_origin")]

    operations = [
        migrations.AddField(
            model_name="client",
            name="wants_reminders",
            field=models.BooleanField(
                default=True,
                help_text="Appointments themselves are always told.",
                verbose_name="reminder by e-mail the day before a visit",
            ),
        )
    ]
