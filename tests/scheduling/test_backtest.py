"""The advice through recorded years: the command for a made-up zone, read back from its own file."""

import csv
import datetime as dt
import html
import json
from io import StringIO

import pytest
from django.core.management import CommandError, call_command
from django.urls import reverse

from scheduling.actions.schedules import compute_draft, publish
from scheduling.queries.backtest import site_backtest
from tests import factories


def backtest(*words):
    out = StringIO()
    call_command("backtest", "--station", "TEST1", *words, stdout=out)
    return out.getvalue()


def read(path):
    with path.open() as file:
        return list(csv.DictReader(file))


@pytest.mark.parametrize("setting", ["weekly", "daily"])
def test_the_days_file_holds_the_balance_that_the_summary_tells(seattle, tmp_path, setting):
    """FAO-56 Eq. 85 to 88 in a plain loop over the file's own columns."""
    path = tmp_path / "days.csv"
    told = json.loads(
        backtest("--planting", "shrubs", "--root-depth-m", "0.45", "--set", setting, "--days", str(path), "--json")
    )
    rows = read(path)
    assert list(rows[0]) == [
        "date", "eto_mm", "demand_mm", "rain_mm", "forecast_rain_mm", "irrigation_net_mm", "depletion_mm",
    ]  # fmt: skip
    assert (told["years"], len(rows), rows[0]["date"], rows[-1]["date"]) == (4, 1461, "2012-01-01", "2015-12-31")
    assert (told["taw_mm"], told["raw_mm"]) == (76.5, 38.25)
    depletion, stressed, water, waterings = 38.25 / 2, 0, 0.0, 0
    for row in rows:
        figures = {name: float(text) for name, text in row.items() if name != "date"}
        assert figures["depletion_mm"] == pytest.approx(depletion, abs=0.01)
        stressed += depletion > 38.25
        water += figures["irrigation_net_mm"]
        waterings += figures["irrigation_net_mm"] > 0
        rain = figures["rain_mm"] if figures["rain_mm"] >= 0.2 * figures["eto_mm"] else 0.0
        ks = min(1.0, (76.5 - depletion) / 38.25)
        depletion = max(0.0, depletion - rain - figures["irrigation_net_mm"] + ks * figures["demand_mm"])
    assert told["net_mm_per_year"] == pytest.approx(water / 4, abs=0.1)
    assert told["stress_days_per_year"] == stressed / 4
    assert told["waterings_per_year"] == waterings / 4


def test_the_forecast_never_knows_the_rain_that_fell(seattle, tmp_path):
    """The normals of the other years: a July without a drop and one with a flood are expected alike."""
    path = tmp_path / "days.csv"
    backtest("--planting", "trees", "--days", str(path))
    before = read(path)
    days = seattle.days.filter(date__year=2014, date__month=7)
    days.update(precipitation_mm=40.0)
    backtest("--planting", "trees", "--days", str(path))
    after = read(path)
    for was, became in zip(before, after, strict=True):
        if was["date"].startswith("2014"):
            assert became["forecast_rain_mm"] == was["forecast_rain_mm"]
    july = [place for place, row in enumerate(before) if row["date"].startswith("2014-07")]
    assert after[july[0]]["irrigation_net_mm"] == before[july[0]]["irrigation_net_mm"]


def test_the_command_says_in_one_line_what_is_wrong(seattle, tmp_path):
    factories.WeatherStationFactory(code="EMPTY")
    for words, said in (
        (
            ["--station", "ELSE", "--planting", "trees"],
            "No weather station has the code 'ELSE'. Known: EMPTY, TEST1.",
        ),
        (["--station", "EMPTY", "--planting", "trees"], "no year of at least 360 days"),
        (["--station", "TEST1", "--planting", "moss"], "invalid choice: 'moss'"),
        (["--station", "TEST1", "--planting", "trees", "--root-depth-m", "9"], "root_depth_m: is 9"),
        (["--station", "TEST1", "--planting", "trees", "--days", f"{tmp_path}/no/days.csv"], "Cannot write"),
    ):
        with pytest.raises(CommandError, match=said):
            call_command("backtest", *words, stdout=StringIO())


def test_plain_words_without_json(seattle):
    assert "net_mm_per_year" in backtest("--planting", "trees")


# The page of a site


JULY = dt.date(2015, 7, 15)


def page_of(site, viewer):
    return viewer.get(reverse("scheduling:backtest", args=[site.pk]))


def test_the_page_sets_the_advice_beside_what_is_published_year_by_year(seattle, site, as_office):
    publish(schedule=compute_draft(site=site, today=JULY, by=None, month=7), by=None, on=JULY)
    site.refresh_from_db()
    found = site_backtest(site, JULY)
    weekly, daily, published, summer = found.ways
    assert [year for year, _ in found.table] == [2012, 2013, 2014, 2015]
    # The published months run alike every year, but for where weekdays fall; the fixed setting takes far more.
    assert published.litres == pytest.approx(sum(row.water_l for row in months_of(site)), rel=0.05)
    assert summer.litres > 1.5 * published.litres
    assert daily.stress_days <= weekly.stress_days
    assert daily.displaced_l < summer.displaced_l
    page = html.unescape(page_of(site, as_office).content.decode())
    for words in ("advice, set weekly", "published schedule", "fixed summer setting", "lost to rain that followed"):
        assert words in page
    assert page.count('class="way-1"') == 5  # four years and the key


def months_of(site):
    """The published table of months, all of it."""
    return site.schedules.published().get().zone_months.all()


def test_the_page_of_a_site_without_a_schedule_shows_the_advice_alone(seattle, site, as_office):
    page = page_of(site, as_office).content.decode()
    assert "Nothing is published for this site" in page
    assert "fixed summer setting" not in page


def test_the_page_says_what_a_site_lacks(site, as_office):
    assert "needs a whole year of weather" in page_of(site, as_office).content.decode()
    site.weather_station = None
    site.save()
    assert "needs a weather station for the site" in page_of(site, as_office).content.decode()
