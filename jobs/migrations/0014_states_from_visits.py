from django.db import migrations

from jobs.actions.site_state import record_past_states


def fill(apps, schema_editor):
    models = [("jobs", "Visit"), ("sites", "StateChange"), ("jobs", "ChecklistItem"), ("jobs", "ChecklistAnswer")]
    record_past_states(*(apps.get_model(*name) for name in models))


class Migration(migrations.Migration):
    dependencies = [("jobs", "0013_keep_dates_set_by_hand"), ("sites", "0009_state_changes")]

    operations = [migrations.RunPython(fill, migrations.RunPython.noop)]
