from django.db import migrations

from jobs.actions.checklists import ensure_default_checklists


def fill(apps, schema_editor):
    ensure_default_checklists(
        apps.get_model("jobs", "ChecklistTemplate"), apps.get_model("jobs", "ChecklistItem")
    )


class Migration(migrations.Migration):
    dependencies = [("jobs", "0003_checklist_choices")]

    operations = [migrations.RunPython(fill, migrations.RunPython.noop)]
