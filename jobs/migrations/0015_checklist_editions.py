from django.db import migrations, models

from jobs.actions.checklists import add_steps
from jobs.core.checklist_editions import EDITION
from jobs.core.checklist_former import EDITION_1
from jobs.core.checklists import DEFAULT_CHECKLISTS


def rows(items):
    return [
        [one.key, one.text, one.caution, one.gate, one.answer, one.unit_kind, [list(pair) for pair in one.options]]
        for one in items
    ]


def renew(apps, schema_editor):
    """A checklist nobody changed gets today's steps as its next version; one that the office worded stays as it is
    and is shown what changed."""
    templates, items = apps.get_model("jobs", "ChecklistTemplate"), apps.get_model("jobs", "ChecklistItem")
    for current in templates.objects.filter(current=True):
        steps = DEFAULT_CHECKLISTS[current.kind]
        here = rows(items.objects.filter(template=current).order_by("position"))
        if here == rows(steps):
            current.edition = EDITION
            current.save(update_fields=["edition"])
        elif here == rows(EDITION_1[current.kind]):
            current.current = False
            current.save(update_fields=["current"])
            made = templates.objects.create(
                kind=current.kind, version=current.version + 1, current=True, edition=EDITION
            )
            add_steps(made, steps, items)


class Migration(migrations.Migration):
    dependencies = [("jobs", "0014_states_from_visits")]

    operations = [
        migrations.AddField(
            model_name="checklisttemplate",
            name="edition",
            field=models.PositiveSmallIntegerField(
                default=1, help_text="Edition of the usual safety steps that the office last saw when this was saved."
            ),
        ),
        migrations.RunPython(renew, migrations.RunPython.noop),
    ]
