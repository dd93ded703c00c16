import datetime as dt
import re

from django.db import migrations, models

MONTHS = "Jan Feb Mar Apr May Jun Jul Aug Sep Oct Nov Dec".split()
TEMPERATURE = re.compile(r"(-?\d+(?:\.\d+)?) °([CF])")
DAY = re.compile(rf"\b(\d{{1,2}}) ({'|'.join(MONTHS)})\b")
HEIGHT = re.compile(r" ([+-]) (\d+) (m|ft)\b")
FOOT_M = 0.3048


def with_figures(text, year):
    """The reason's temperature, day and height as figures, where it was written by the planner."""
    if "°" not in text and not text.startswith("Frost earlier than planned"):
        return text

    def temperature(found):
        value = float(found[1])
        return f"{{temperature:{value if found[2] == 'C' else (value - 32) * 5 / 9:.4f}}}"

    def day(found):
        try:
            return f"{{day:{dt.date(year, 1 + MONTHS.index(found[2]), int(found[1]))}}}"
        except ValueError:
            return found[0]

    def height(found):
        metres = int(found[2]) * (FOOT_M if found[3] == "ft" else 1)
        return f", site {{length:{metres:.4f}:0}} {'higher' if found[1] == '+' else 'lower'} than the station"

    for pattern, said in ((TEMPERATURE, temperature), (DAY, day), (HEIGHT, height)):
        text = pattern.sub(said, text)
    return text


def keep_figures(apps, schema_editor):
    for model, field in (("SeasonWindow", "reason"), ("Visit", "window_reason")):
        rows = apps.get_model("jobs", model).objects.exclude(**{field: ""}).only("season_year", field)
        changed = []
        for row in rows.iterator():
            told = with_figures(getattr(row, field), row.season_year)
            if told != getattr(row, field) and len(told) <= 300:
                setattr(row, field, told)
                changed.append(row)
        apps.get_model("jobs", model).objects.bulk_update(changed, [field], batch_size=500)


class Migration(migrations.Migration):
    dependencies = [("jobs", "0018_one_word_for_a_thing")]

    operations = [
        migrations.AlterField("seasonwindow", "reason", models.CharField(blank=True, max_length=300)),
        migrations.AlterField(
            "visit",
            "window_reason",
            models.CharField(blank=True, help_text="What the dates are based on.", max_length=300),
        ),
        migrations.RunPython(keep_figures, migrations.RunPython.noop),
    ]
