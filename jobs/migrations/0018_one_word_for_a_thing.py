import django.db.models.deletion
from django.db import migrations, models


def say_not_applied(apps, schema_editor):
    apps.get_model("jobs", "InboxRecord").objects.filter(state="set_aside").update(state="not_applied")


def say_set_aside(apps, schema_editor):
    apps.get_model("jobs", "InboxRecord").objects.filter(state="not_applied").update(state="set_aside")


class Migration(migrations.Migration):
    dependencies = [("jobs", "0017_take_what_was_told_from_the_audit")]

    operations = [
        migrations.AlterField(
            model_name='inboxrecord',
            name='state',
            field=models.CharField(choices=[('waiting', 'waiting for an earlier record'), ('applied', 'applied'), ('for_person', 'for a person to decide'), ('held', 'held: access was withdrawn'), ('refused', 'refused: not readable'), ('not_applied', 'not applied')], default='waiting', max_length=12),
        ),
        migrations.RunPython(say_not_applied, say_set_aside),
        migrations.AlterField(
            model_name='checklistitem',
            name='caution',
            field=models.TextField(blank=True, help_text='The caution shown with the step.'),
        ),
        migrations.AlterField(
            model_name='proposal',
            name='state',
            field=models.CharField(choices=[('draft', 'draft'), ('sent', 'waiting for the client'), ('accepted', 'accepted'), ('declined', 'declined'), ('superseded', 'superseded'), ('withdrawn', 'withdrawn')], default='draft', editable=False, max_length=10),
        ),
        migrations.AlterField(
            model_name='proposalline',
            name='fault',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='proposal_lines', to='jobs.fault', verbose_name='repairs'),
        ),
        migrations.AlterField(
            model_name='visit',
            name='window_reason',
            field=models.CharField(blank=True, help_text='What the dates are based on.', max_length=200),
        ),
    ]
