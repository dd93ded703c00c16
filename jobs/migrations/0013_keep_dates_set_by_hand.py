import datetime as dt

from django.db import migrations


def mark(apps, schema_editor):
    """Visits whose dates are not their part of the season's window were given dates by hand."""
    Visit = apps.get_model("jobs", "Visit")
    windows = {(w.season_year, w.kind): w for w in apps.get_model("jobs", "SeasonWindow").objects.all()}
    checks = dict(apps.get_model("jobs", "ServicePlan").objects.values_list("site_id", "mid_season_visits"))
    own = []
    for visit in Visit.objects.iterator(chunk_size=2000):
        window = windows.get((visit.season_year, visit.kind))
        if window is None:  # a repair, or added by hand before the season had a window
            own.append(visit.pk)
            continue
        ordered = checks.get(visit.site_id, 1) if visit.kind == "mid_season" else 1
        count, days = max(ordered, visit.sequence), (window.due_on - window.opens_on).days + 1
        first = days * (visit.sequence - 1) // count
        last = max(first, days * visit.sequence // count - 1)
        usual = tuple(window.opens_on + dt.timedelta(days=n) for n in (first, last))
        if (visit.opens_on, visit.due_on) != usual:
            own.append(visit.pk)
    for start in range(0, len(own), 500):
        Visit.objects.filter(pk__in=own[start : start + 500]).update(own_dates=True)


class Migration(migrations.Migration):
    dependencies = [("jobs", "0012_skills_terms_and_proposed_plans")]
    operations = [migrations.RunPython(mark, migrations.RunPython.noop)]
