"""Startups and winterizations turn a site on and off; what came before states were kept is made up for."""

import datetime as dt
import importlib

import pytest
from django.apps import apps

from jobs.actions.field import VisitEnd, finish_visit, start_visit
from jobs.models import ChecklistAnswer
from sites.models import StateChange
from sites.queries.site_state import standing_of, state_lines
from tests import factories

MORNING = dt.datetime(2026, 4, 14, 16, tzinfo=dt.UTC)  # 09:00 at the site
HOUR = dt.timedelta(hours=1)


def visit_of(site, technician, kind="startup"):
    return factories.VisitFactory(
        site=site, kind=kind, technician=technician, planned_on=MORNING.date(), state="planned"
    )


def done(visit, *keys):
    for item in visit.checklist.items.filter(key__in=keys):
        ChecklistAnswer.objects.create(visit=visit, item=item, done=True, answered_at=MORNING)


def finished(visit, technician, *keys, at=MORNING + HOUR):
    visit = start_visit(visit=visit, by=technician, started_at=MORNING)
    done(visit, *keys)
    return finish_visit(visit=visit, by=technician, end=VisitEnd(accept_reason="the rest tomorrow", at=at))


def test_a_startup_fills_the_site_and_turns_it_on(site, technician):
    visit = start_visit(visit=visit_of(site, technician), by=technician, started_at=MORNING)
    assert standing_of(site, MORNING.date()).words == "filling up since 14 Apr 2026"

    done(visit, "slow_fill")
    finish_visit(visit=visit, by=technician, end=VisitEnd(accept_reason="the rest tomorrow", at=MORNING + HOUR))

    assert standing_of(site, MORNING.date()).words == "on since 14 Apr 2026"
    assert not standing_of(site, MORNING.date() - dt.timedelta(days=1)).is_on
    change = StateChange.objects.get(state="on")
    assert (change.visit_uuid, change.recorded_by, change.reason) == (visit.uuid, technician, "startup visit")


def test_the_day_is_that_of_the_site_s_clock(site, technician):
    late = dt.datetime(2026, 10, 21, 2, tzinfo=dt.UTC)  # the evening of the 20th at the site

    finished(visit_of(site, technician, "winterisation"), technician, "water_shut_off", at=late)

    assert standing_of(site, dt.date(2026, 10, 20)).words == "shut off for winter since 20 Oct 2026"


def test_a_winterisation_that_shut_nothing_off_leaves_the_site_on(site, technician):
    finished(visit_of(site, technician, "winterisation"), technician)

    assert not StateChange.objects.filter(state="winter").exists()
    assert standing_of(site, MORNING.date()).is_on


@pytest.mark.parametrize("kind", ["mid_season", "repair"])
def test_other_visits_change_nothing(site, technician, kind):
    finished(visit_of(site, technician, kind), technician)

    assert not StateChange.objects.exists()


def test_finishing_twice_records_once(site, technician):
    visit = finished(visit_of(site, technician), technician, "slow_fill")

    finish_visit(visit=visit, by=technician, end=VisitEnd())

    assert StateChange.objects.count() == 2  # filling up, on


def test_a_corrected_start_moves_the_day_of_filling(site, technician):
    visit = start_visit(visit=visit_of(site, technician), by=technician, started_at=MORNING)
    done(visit, "slow_fill")

    early = MORNING - dt.timedelta(days=2)
    finish_visit(
        visit=visit,
        by=technician,
        end=VisitEnd(started_at=early, times_reason="forgot", accept_reason="rest", at=MORNING + HOUR),
    )

    assert [(change.state, change.changed_on.day) for change in StateChange.objects.all()] == [
        ("filling", 12),
        ("on", 14),
    ]


def test_the_migration_makes_up_for_visits_done_before(site, technician):
    started = finished(visit_of(site, technician), technician, "slow_fill")
    left_on = finished(visit_of(site, technician, "winterisation"), technician)
    elsewhere = factories.VisitFactory(
        site=factories.SiteFactory(), kind="winterisation", technician=technician, state="finished",
        planned_on=dt.date(2026, 10, 5), started_at=MORNING, finished_at=MORNING + HOUR, checklist=None,
    )  # fmt: skip
    StateChange.objects.all().delete()
    migration = importlib.import_module("jobs.migrations.0014_states_from_visits")

    for _ in range(2):  # again changes nothing
        migration.fill(apps, None)

    assert {(change.visit_uuid, change.state) for change in StateChange.objects.all()} == {
        (started.uuid, "on"),
        (elsewhere.uuid, "winter"),
    }
    assert left_on.uuid not in StateChange.objects.values_list("visit_uuid", flat=True)
    assert state_lines()[site.pk].at(dt.date(2026, 7, 1)).is_on
