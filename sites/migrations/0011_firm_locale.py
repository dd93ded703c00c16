from django.db import migrations, models


def write_as_the_units_say(apps, schema_editor):
    apps.get_model("sites", "Firm").objects.filter(units="us").update(locale="en-US")


class Migration(migrations.Migration):
    dependencies = [("sites", "0010_one_word_for_a_thing")]

    operations = [
        migrations.AddField(
            "firm",
            "locale",
            models.CharField(
                choices=[
                    ("en-GB", "4 Apr 2026 (English, day first)"),
                    ("en-US", "Apr 4, 2026 (English, month first)"),
                ],
                default="en-GB",
                max_length=5,
                verbose_name="dates",
            ),
        ),
        migrations.AlterField(
            "firm",
            "licence_text",
            models.CharField(
                blank=True,
                help_text="Printed in the footer of every document, e.g. a registration number.",
                max_length=120,
            ),
        ),
        migrations.RunPython(write_as_the_units_say, migrations.RunPython.noop),
    ]
