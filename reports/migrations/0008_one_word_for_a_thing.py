from django.db import migrations

VERBS = {
    "ordered delivery": "queued delivery",
    "ordered bulk job": "queued bulk job",
    "promise taken back": "promise withdrawn",
    "proposal taken back": "proposal withdrawn",
}


def _rename(apps, verbs, old, new):
    entries = apps.get_model("sites", "AuditEntry").objects
    for before, after in verbs.items():
        entries.filter(verb=before).update(verb=after)
    for entry in entries.filter(verb__startswith=f"{'ordered' if old == 'mends' else 'queued'} mail: "):
        entry.verb = f"{'queued' if old == 'mends' else 'ordered'} mail: {entry.verb.partition(': ')[2]}"
        entry.save(update_fields=["verb"])
    for document in apps.get_model("reports", "Document").objects.filter(kind="proposal"):
        for line in (document.content or {}).get("lines", []):
            if old in line:
                line[new] = line.pop(old)
        document.save(update_fields=["content"])


def forwards(apps, schema_editor):
    _rename(apps, VERBS, "mends", "repairs")


def backwards(apps, schema_editor):
    _rename(apps, {after: before for before, after in VERBS.items()}, "repairs", "mends")


class Migration(migrations.Migration):
    dependencies = [
        ("reports", "0007_proposal_documents"),
        ("sites", "0010_one_word_for_a_thing"),
    ]

    operations = [migrations.RunPython(forwards, backwards)]
