import datetime as dt

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from django.utils import timezone

from jobs.queries.planning import firm_today
from scheduling.actions.schedules import compute_draft, compute_many, publish
from scheduling.models import AppliedSchedule, DailyWeather, SeasonSchedule, WateringPause, WeatherImport
from sites.models import AuditEntry, Controller, Site
from tests import factories

JULY = dt.date(2015, 7, 15)


def url(name, *args):
    return reverse(f"scheduling:{name}", args=args)


@pytest.fixture
def published(seattle, site, office):
    return publish(schedule=compute_draft(site=site, today=JULY, by=office, month=7), by=office)


@pytest.fixture
def draft(published):
    return compute_draft(site=published.site, today=JULY, by=None, month=6)


def text_of(answer):
    return answer.content.decode()


# The site's watering


def test_the_office_sees_the_published_schedule_the_draft_and_the_proof(as_office, published, draft):
    answer = as_office.get(url("site_watering", published.site_id))
    assert answer.status_code == 200
    text = text_of(answer)
    july = published.zone_months.get(zone__number=1, month=7)
    assert f">{july.run_time_min_per_week:.0f}</a>" in text
    assert url("schedule", draft.pk) in text
    assert "commands proved" in text


def test_the_client_reads_what_is_published_and_nothing_else(client, client_user, published, draft):
    client.force_login(client_user)
    text = text_of(client.get(url("site_watering", published.site_id)))
    assert "Program A" in text
    assert url("schedule", draft.pk) not in text
    assert "commands proved" not in text
    assert client.get(url("schedule", published.pk)).status_code == 200
    assert client.get(url("schedule", draft.pk)).status_code == 404
    assert client.get(url("figure", published.pk, published.site.zones.first().pk, 7)).status_code == 200


def test_a_stranger_and_a_technician_without_visit_find_nothing(client, stranger, technician, published):
    for person in (stranger, technician):
        client.force_login(person)
        assert client.get(url("site_watering", published.site_id)).status_code == 404
        assert client.get(url("schedule", published.pk)).status_code == 404


def test_a_technician_with_a_visit_notes_the_day_the_schedule_was_set(client, technician, published):
    factories.VisitFactory(site=published.site, technician=technician)
    controller = published.site.controllers.get()
    client.force_login(technician)
    answer = client.post(url("schedule_applied", published.pk, controller.pk), {"applied_on": "2026-07-03"})
    assert answer.status_code == 302
    assert AppliedSchedule.objects.get().applied_by == technician
    assert "set on 3 Jul 2026" in text_of(client.get(url("site_watering", published.site_id)))


@pytest.mark.parametrize("name", ["schedule_compute", "site_pause"])
def test_only_the_office_computes_and_pauses(client, client_user, technician, published, name):
    factories.VisitFactory(site=published.site, technician=technician)
    for person in (client_user, technician):
        client.force_login(person)
        assert client.post(url(name, published.site_id)).status_code == 403


def test_the_page_of_a_site_without_anything_says_so(as_office, site):
    text = text_of(as_office.get(url("site_watering", site.pk)))
    assert "No schedule is published for this site yet." in text


def test_the_site_page_takes_the_same_number_of_queries_for_one_zone_and_for_three(
    as_office, published, django_assert_max_num_queries
):
    with django_assert_max_num_queries(60) as small:
        as_office.get(url("site_watering", published.site_id))
    controller = published.site.controllers.get()
    for number in (3, 4, 5):
        valve = factories.ValveFactory(controller=controller, terminal=number)
        factories.ZoneFactory(site=published.site, valve=valve, number=number)
    publish(schedule=compute_draft(site=published.site, today=JULY, by=None, month=7), by=None)
    SeasonSchedule.objects.filter(pk=published.pk).delete()
    with django_assert_max_num_queries(60) as large:
        as_office.get(url("site_watering", published.site_id))
    assert len(small) == len(large), [[q["sql"][:60] for q in some] for some in (small, large)]


def test_the_pages_name_the_month_whose_normal_the_programs_rest_on(as_office, published):
    assert "Programs by the normal July" in text_of(as_office.get(url("site_watering", published.site.pk)))


def test_a_zone_thirstier_than_its_supply_is_told_in_the_firms_units(firm, seattle, site):
    firm.units = "us"
    firm.save()
    controller = site.controllers.get()
    controller.supply.flow_available_l_min = 0.5
    controller.supply.save()
    words = compute_draft(site=site, today=JULY, by=None, month=7).warnings
    assert any("the supply gives 0.1 gpm" in text for text in words)


def test_compute_and_publish_from_the_page(as_office, seattle, site):
    answer = as_office.post(url("schedule_compute", site.pk), {"month": "7"})
    draft = SeasonSchedule.objects.get()
    assert answer.url == url("schedule", draft.pk)
    assert "Change against what is published" in text_of(as_office.get(answer.url))
    answer = as_office.post(url("schedule_publish", draft.pk), {"site": site.pk}, follow=True)
    assert "Published as revision 1" in text_of(answer)


def test_publishing_a_draft_that_was_replaced_says_so(as_office, draft):
    compute_draft(site=draft.site, today=JULY, by=None)
    answer = as_office.post(url("schedule_publish", draft.pk), {"site": draft.site_id}, follow=True)
    assert "computed again since you opened it" in text_of(answer)


def test_a_figure_shows_inputs_with_origin_formula_and_source(as_office, published):
    text = text_of(as_office.get(url("figure", published.pk, published.site.zones.get(number=1).pk, 7)))
    assert "run time = 60 x net need of the week x SM / application rate" in text
    assert "usual value, not measured" in text
    assert "FAO-56" in text
    assert as_office.get(url("figure", published.pk, published.site.zones.first().pk, 13)).status_code == 404


def test_figures_come_in_the_firm_s_units(as_office, firm, published):
    firm.units = "us"
    firm.save()
    text = text_of(as_office.get(url("figure", published.pk, published.site.zones.first().pk, 7)))
    assert "0.47 in/h" in text  # 12 mm/h


# Editing


def program_form(program, **changed):
    steps = list(program.steps.order_by("position"))
    data = {
        "name": program.name,
        "starts_at": f"{program.starts_at:%H:%M}",
        "weekdays": [str(day) for day in program.weekdays],
        "enabled": "on",
        "steps-TOTAL_FORMS": len(steps),
        "steps-INITIAL_FORMS": len(steps),
    }
    for place, step in enumerate(steps):
        data |= {
            f"steps-{place}-id": step.pk,
            f"steps-{place}-run_time_min": step.run_time_min,
            f"steps-{place}-cycles": step.cycles,
            f"steps-{place}-soak_min": step.soak_min,
            f"steps-{place}-enabled": "on",
        }
    return data | changed


def test_a_program_is_edited_and_its_steps_moved_without_losing_what_was_typed(as_office, draft):
    program = draft.programs.get()
    first, second = program.steps.all()
    data = program_form(program, name="Mornings", **{"steps-0-run_time_min": "17", "move": f"{second.pk}:up"})
    answer = as_office.post(url("program_edit", program.pk), data)
    assert answer.url == url("program_edit", program.pk) + "#steps"
    program.refresh_from_db()
    assert program.name == "Mornings"
    assert [(step.pk, step.run_time_min) for step in program.steps.all()] == [
        (second.pk, second.run_time_min),
        (first.pk, 17),
    ]


def test_errors_stand_beside_their_fields_and_the_typed_values_stay(as_office, draft):
    site = draft.site
    site.permitted_days, site.permitted_weekdays = "weekdays", [0, 2]
    site.save()
    program = draft.programs.get()
    changed = {"starts_at": "12:00", "weekdays": ["1"], "steps-0-run_time_min": "-4", "steps-1-cycles": "3"}
    answer = as_office.post(url("program_edit", program.pk), program_form(program, **changed))
    assert answer.status_code == 422
    text = text_of(answer)
    for words in (
        "Outside the permitted hours",
        "More than 0 and at most 600 minutes",
        "Several cycles need a soak",
        'value="-4"',
    ):
        assert words in text
    answer = as_office.post(url("program_edit", program.pk), program_form(program, weekdays=["1"]))
    assert "permits no watering that starts on Tuesday" in text_of(answer)
    program.refresh_from_db()
    assert program.steps.first().run_time_min > 0


def test_the_program_of_a_published_schedule_is_not_opened_for_editing(as_office, published):
    program = published.programs.get()
    answer = as_office.post(url("program_edit", program.pk), program_form(program, name="Changed"))
    assert answer.status_code == 302
    program.refresh_from_db()
    assert program.name == "Program A"


# Pauses


def test_a_pause_is_entered_and_ended(as_office, site):
    today = firm_today()
    data = {"starts_on": today - dt.timedelta(days=2), "ends_on": today + dt.timedelta(days=5), "reason": "rain"}
    as_office.post(url("site_pause", site.pk), data)
    row = WateringPause.objects.get()
    assert "Watering is paused until" in text_of(as_office.get(url("site_watering", site.pk)))
    as_office.post(url("pause_end", row.pk))
    row.refresh_from_db()
    assert row.ends_on < firm_today() + dt.timedelta(days=1)


def test_a_pause_with_its_days_turned_round_is_refused_beside_the_field(as_office, site):
    data = {"starts_on": "2026-07-10", "ends_on": "2026-07-01", "reason": "rain"}
    answer = as_office.post(url("site_pause", site.pk), data)
    assert answer.status_code == 422
    assert "The pause must end on or after the day it starts." in text_of(answer)
    assert 'value="rain"' in text_of(answer)


# The office's week


@pytest.fixture
def off_week(seattle, office):
    """Three sites with a published July and a draft for June of the same year: all off, Large by most."""
    sites = [factories.make_small_site(name) for name in ("Small", "Middle", "Large")]
    for share, one in zip((1, 2, 4), sites, strict=True):
        one.zones.update(flow_l_min=10 * share, application_rate_mm_h=12)
    today = firm_today()
    for month in (7, 5):
        drafts = compute_many(sites=sites, today=today, by=None, month=month)
        if month == 7:
            for one in drafts:
                publish(schedule=one, by=office)
    # The comparison is made in the month the programs were made for.
    SeasonSchedule.objects.update(month=today.month)
    return sites


def test_the_week_lists_the_site_with_most_water_first(as_office, off_week):
    text = text_of(as_office.get(url("week")))
    assert text.index("Large") < text.index("Middle") < text.index("Small")
    assert text.count('<span class="tag warn">too much</span>') == 3


def test_the_threshold_and_the_direction_narrow_the_week(as_office, off_week):
    assert "No site is off" in text_of(as_office.get(url("week"), {"threshold": "500", "direction": "all"}))
    assert "No site is off" in text_of(as_office.get(url("week"), {"threshold": "15", "direction": "under"}))
    assert "Off by more" in text_of(as_office.get(url("week"), {"threshold": "much", "direction": "all"}))


def test_a_week_in_which_nothing_grows_says_so(as_office, off_week):
    assert "None needs water" not in text_of(as_office.get(url("week"), {"threshold": "500", "direction": "all"}))
    SeasonSchedule.objects.update(litres_per_week=0, litres_by_month=[0] * 12)
    assert "None needs water this week, and by the schedules none runs." in text_of(as_office.get(url("week")))


def test_the_week_takes_the_same_number_of_queries_for_one_site_and_for_three(
    as_office, off_week, django_assert_max_num_queries
):
    with django_assert_max_num_queries(15) as three:
        as_office.get(url("week"))
    SeasonSchedule.objects.exclude(site=off_week[0]).delete()
    with django_assert_max_num_queries(15) as one:
        as_office.get(url("week"))
    assert len(one) == len(three)


def test_chosen_sites_are_published_together(as_office, off_week):
    drafts = SeasonSchedule.objects.filter(state="draft", site__in=off_week[:2])
    answer = as_office.post(url("week"), {"act": "publish", "draft": [row.pk for row in drafts]}, follow=True)
    assert "2 schedules published." in text_of(answer)
    assert SeasonSchedule.objects.filter(revision=2, state="published").count() == 2


def test_chosen_sites_are_paused_together(as_office, off_week):
    row = SeasonSchedule.objects.get(state="draft", site=off_week[0])
    today = firm_today()
    data = {"act": "pause", "draft": [row.pk], "starts_on": today, "ends_on": today, "reason": "rain"}
    assert "1 site paused" in text_of(as_office.post(url("week"), data, follow=True))
    assert "paused until" in text_of(as_office.get(url("week")))


def test_an_unfinished_order_for_the_week_is_refused_and_keeps_the_choice(as_office, off_week):
    row = SeasonSchedule.objects.get(state="draft", site=off_week[0])
    answer = as_office.post(url("week"), {"act": "pause", "draft": [row.pk], "reason": ""})
    assert answer.status_code == 422
    assert f'value="{row.pk}" aria-label="Small" checked' in text_of(answer)
    assert "The pause below" in text_of(answer)
    answer = as_office.post(url("week"), {"act": "publish"})
    assert answer.status_code == 422
    assert "Choose at least one site." in text_of(answer)
    for strange in ("9" * 30, "x", "-1", ""):
        answer = as_office.post(url("week"), {"act": "publish", "draft": [strange]})
        assert answer.status_code == 422
    assert not WateringPause.objects.exists()


def test_all_sites_are_paused_for_a_rainy_spell_and_water_again_together(as_office, office):
    sites = [factories.make_small_site(name) for name in ("Fens", "Marsh", "Given up")]
    Site.objects.filter(pk=sites[2].pk).update(archived_at=timezone.now())
    today = firm_today()
    order = {"act": "pause_all", "starts_on": today, "ends_on": today + dt.timedelta(days=4), "reason": "Rain"}
    refused = as_office.post(url("week"), {**order, "ends_on": ""})
    assert (refused.status_code, WateringPause.objects.count()) == (422, 0)
    for _ in range(2):  # a second click pauses nothing twice
        assert "2 sites paused" in text_of(as_office.post(url("week"), order, follow=True))
    assert {row.site.name for row in WateringPause.objects.all()} == {"Fens", "Marsh"}
    shown = text_of(as_office.get(url("week")))
    by_hand = Controller.objects.filter(set_by_hand=True, site__in=sites[:2]).values("site").distinct().count()
    assert "waters on until somebody switches it off there" in shown
    assert (f"({by_hand} of 2 sites have one)" in shown) == bool(by_hand)
    Controller.objects.filter(site__in=sites).update(set_by_hand=True)
    again = as_office.post(url("week"), {**order, "reason": "More rain"}, follow=True)
    assert "Send somebody: Fens: Controller; Marsh: Controller" in text_of(again)
    entries = AuditEntry.objects.filter(verb="paused watering", by=office)
    assert {entry.subject_id for entry in entries} == {str(sites[0].pk), str(sites[1].pk)}
    other = WateringPause.objects.create(site=sites[0], starts_on=today, ends_on=today, reason="Works")
    page = text_of(as_office.get(url("week")))
    assert "2 sites</td>" in page
    assert "Works" in page
    answer = as_office.post(url("week"), {**order, "act": "resume"}, follow=True)
    assert "Watering goes on from today at 2 sites." in text_of(answer)
    assert WateringPause.objects.get() == other
    answer = as_office.post(url("week"), {**order, "act": "resume"}, follow=True)
    assert "ended or changed since you opened the page" in text_of(answer)


@pytest.mark.parametrize("role", ["technician", "client_user"])
def test_the_week_and_the_stations_are_the_office_s(client, request, role, seattle):
    client.force_login(request.getfixturevalue(role))
    assert client.get(url("week")).status_code == 403
    assert client.get(url("station_list")).status_code == 403


# Stations


def upload(text, name="days.csv"):
    return SimpleUploadedFile(name, text.encode())


GOOD = "date,temp_max_c,temp_min_c\n2024-07-01,25,12\n"


def test_a_station_is_made_and_shows_its_climate(as_office, seattle):
    text = text_of(as_office.get(url("station", seattle.pk)))
    assert "Climate, 2012 to 2015" in text
    july = sum(seattle.days.filter(date__month=7).values_list("eto_mm", flat=True)) / 4
    assert f"{july:.1f} mm" in text
    data = {
        "code": "X1",
        "name": "Hill",
        "latitude": "47",
        "longitude": "-122",
        "elevation_m": "9",
        "wind_height_m": "2",
    }
    answer = as_office.post(url("station_new"), data, follow=True)
    assert "No climate yet" in text_of(answer)
    assert "Hill" in text_of(as_office.get(url("station_list")))
    assert as_office.post(url("station_new"), data).status_code == 422


def test_a_clean_file_is_stored_and_its_report_shown(as_office, db):
    station = factories.WeatherStationFactory()
    answer = as_office.post(
        url("station_import", station.pk), {"file": upload(GOOD), "file_format": "rillbook"}, follow=True
    )
    assert "1 rows read, 1 days stored" in text_of(answer)


def test_a_refused_file_need_not_be_chosen_again_to_keep_its_good_rows(as_office, db):
    station = factories.WeatherStationFactory()
    bad = GOOD + "2024-07-02,12,25\n"
    address = url("station_import", station.pk)
    answer = as_office.post(address, {"file": upload(bad), "file_format": "rillbook"})
    report = WeatherImport.objects.get()
    assert answer.status_code == 422
    assert "is above temp_max" in text_of(answer)
    assert f'name="kept" value="{report.pk}"' in text_of(answer)
    assert not DailyWeather.objects.exists()
    answer = as_office.post(
        address, {"kept": report.pk, "file_format": "rillbook", "keep_good_rows": "on"}, follow=True
    )
    assert "2 rows read, 1 days stored" in text_of(answer)
    assert DailyWeather.objects.count() == 1


def test_no_file_and_a_file_that_is_no_text_are_refused_beside_the_field(as_office, db):
    station = factories.WeatherStationFactory()
    answer = as_office.post(url("station_import", station.pk), {"file_format": "rillbook"})
    assert answer.status_code == 422
    assert "Choose the station" in text_of(answer)
    binary = SimpleUploadedFile("days.bin", b"\xff\xfe")
    answer = as_office.post(url("station_import", station.pk), {"file": binary, "file_format": "rillbook"})
    assert answer.status_code == 422
    assert "is not UTF-8 text" in text_of(answer)


def test_a_schedule_cannot_be_set_tomorrow(as_office, published):
    address = url("schedule_applied", published.pk, published.site.controllers.get().pk)
    tomorrow = firm_today() + dt.timedelta(days=1)

    answer = as_office.post(address, {"applied_on": tomorrow.isoformat()}, follow=True)

    assert "not one to come" in text_of(answer)
    assert not published.applied.exists()


def test_a_figure_cites_its_publications_and_says_when_a_table_was_corrected_since(as_office, published):
    """The plant factor a schedule was computed with stays told when a table behind it is corrected later."""
    zone = published.site.zones.order_by("number").first()
    address = url("figure", published.pk, zone.pk, 7)
    text = text_of(as_office.get(address))
    assert "FAO Irrigation and Drainage Paper 56" in text
    assert "Irrigation Association" in text
    assert "A table was corrected" not in text
    zone.months.filter(schedule=published, month=7).update(plant_factor=0.61)
    assert "the plant factor was 0.610, below it is" in text_of(as_office.get(address))
