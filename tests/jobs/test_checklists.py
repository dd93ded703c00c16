import datetime as dt

import pytest
from django.core.exceptions import ValidationError

from jobs.actions.checklists import answer_step, current_checklist, ensure_default_checklists
from jobs.actions.field import start_visit
from jobs.core.checklists import DEFAULT_CHECKLISTS
from jobs.models import ChecklistAnswer, ChecklistItem, ChecklistTemplate, VisitKind
from jobs.queries.checklists import checklist_rows
from sites.models import AuditEntry, Zone
from tests import factories


@pytest.fixture
def visit(site, technician):
    planned = factories.VisitFactory(
        site=site, kind="winterisation", technician=technician, planned_on=dt.date(2026, 10, 20), state="planned"
    )
    return start_visit(visit=planned, by=technician)


def step(visit, key):
    return ChecklistItem.objects.get(template=visit.checklist, key=key)


def do(visit, key, by, **answer):
    return answer_step(visit=visit, item=step(visit, key), done=True, by=by, **answer)


def pass_water_gates(visit, by):
    for key in ("injector_off", "water_shut_off", "pressure_released"):
        do(visit, key, by)


@pytest.mark.django_db
def test_a_new_installation_has_version_1_of_every_kind():
    assert {
        kind: ChecklistTemplate.objects.get(kind=kind, current=True).items.count() for kind in VisitKind.values
    } == {kind: len(steps) for kind, steps in DEFAULT_CHECKLISTS.items()}


@pytest.mark.django_db
def test_making_the_defaults_again_changes_nothing_and_missing_ones_come_back():
    ChecklistTemplate.objects.filter(kind="repair").delete()
    before = set(ChecklistItem.objects.values_list("pk", flat=True))
    assert current_checklist("repair").items.count() == len(DEFAULT_CHECKLISTS["repair"])
    ensure_default_checklists()
    kept = set(ChecklistItem.objects.exclude(template__kind="repair").values_list("pk", flat=True))
    assert kept == before
    assert ChecklistTemplate.objects.count() == 4


def test_a_visit_keeps_the_version_it_started_with(visit):
    ChecklistTemplate.objects.filter(kind="winterisation").update(current=False)
    ChecklistTemplate.objects.create(kind="winterisation", version=2)
    visit.refresh_from_db()
    assert visit.checklist.version == 1
    assert len(checklist_rows(visit)) == len(DEFAULT_CHECKLISTS["winterisation"])


def test_a_step_behind_a_gate_is_refused_until_the_gate_is_done(visit, technician):
    with pytest.raises(ValidationError, match="closed until"):
        do(visit, "zones_blown_out", technician)
    assert ChecklistAnswer.objects.count() == 0
    pass_water_gates(visit, technician)
    with pytest.raises(ValidationError, match="Weakest pipe"):
        do(visit, "zones_blown_out", technician)


def test_undoing_a_gate_closes_the_steps_after_it_again(visit, technician):
    do(visit, "injector_off", technician)
    do(visit, "water_shut_off", technician)
    answer_step(visit=visit, item=step(visit, "water_shut_off"), done=False, by=technician)
    with pytest.raises(ValidationError, match="closed until"):
        do(visit, "pressure_released", technician)


LIMITS = [("pe", 345, True), ("pe", 400, False), ("pvc", 550, True), ("drip", 345, False), ("unknown", 345, False)]


@pytest.mark.parametrize(("material", "limit_kpa", "passes"), LIMITS)
def test_the_air_pressure_limit_is_held_against_the_pipe_material(visit, technician, material, limit_kpa, passes):
    pass_water_gates(visit, technician)
    do(visit, "pipe_material", technician, text=material)
    if passes:
        assert do(visit, "air_pressure_limit", technician, number=limit_kpa).done
    else:
        with pytest.raises(ValidationError, match="Too high for this pipe"):
            do(visit, "air_pressure_limit", technician, number=limit_kpa)


def test_registered_drip_caps_the_air_whatever_pipe_is_named(visit, technician):
    pass_water_gates(visit, technician)
    do(visit, "pipe_material", technician, text="pvc")
    with pytest.raises(ValidationError, match="above 0"):
        do(visit, "air_pressure_limit", technician, number=0)
    do(visit, "air_pressure_limit", technician, number=500)
    Zone.objects.filter(site=visit.site).update(emitter="drip_grid")
    with pytest.raises(ValidationError, match="this site's drip zones: at most 207 kPa"):
        do(visit, "air_pressure_limit", technician, number=500)
    do(visit, "pipe_material", technician, text="pvc")  # what was confirmed before the drip stood there is withdrawn
    with pytest.raises(ValidationError, match="Air pressure limit"):
        do(visit, "protected", technician)
    assert do(visit, "air_pressure_limit", technician, number=200).done


def test_weaker_pipe_found_later_takes_the_confirmed_limit_back(visit, technician):
    pass_water_gates(visit, technician)
    do(visit, "pipe_material", technician, text="pvc")
    do(visit, "air_pressure_limit", technician, number=500)
    do(visit, "pipe_material", technician, text="drip")
    with pytest.raises(ValidationError, match="Air pressure limit"):
        do(visit, "protected", technician)


def test_a_step_of_another_checklist_is_refused(visit, technician):
    foreign = ChecklistItem.objects.filter(template__kind="startup").first()
    with pytest.raises(ValidationError, match="another checklist"):
        answer_step(visit=visit, item=foreign, done=True, by=technician)


def test_every_answer_leaves_an_audit_row(visit, technician):
    do(visit, "injector_off", technician)
    entry = AuditEntry.objects.get(verb="checklist step answered")
    assert (entry.by, entry.detail["step"], entry.detail["done"]) == (technician, "injector_off", True)
