import datetime as dt

from django.db import migrations

PROMISED, CALLED = 'visit promised', 'client called'


def clock(text):
    return dt.time.fromisoformat(text) if text else None


def fill(apps, schema_editor):
    """What was promised and said so far stands only in the audit log; the log itself stays as it is."""
    entries = apps.get_model('sites', 'AuditEntry').objects.filter(
        subject_type='jobs.visit', verb__in=[PROMISED, CALLED]
    )
    visits = set(apps.get_model('jobs', 'Visit').objects.values_list('pk', flat=True))
    told = apps.get_model('jobs', 'ClientTold')
    rows = []
    for entry in entries.order_by('at', 'pk').iterator():
        if int(entry.subject_id) not in visits:
            continue
        detail, promised = entry.detail, entry.verb == PROMISED
        on = detail.get('on') if promised else None
        rows.append(
            told(
                visit_id=int(entry.subject_id),
                at=entry.at,
                by_id=entry.by_id,
                on_date=dt.date.fromisoformat(on) if on else None,
                from_time=clock(detail.get('time')) if on else None,
                until_time=clock(detail.get('until')) if on else None,
                words='' if promised else detail.get('told', '')[:200],
            )
        )
    told.objects.bulk_create(rows, batch_size=500)


class Migration(migrations.Migration):

    dependencies = [('jobs', '0016_what_clients_were_told'), ('sites', '0001_initial')]

    operations = [migrations.RunPython(fill, migrations.RunPython.noop)]
