"""The office words its checklists; what keeps people safe stays in them."""

import pytest
from django.urls import reverse

from jobs.actions.checklists import current_checklist, save_checklist
from jobs.actions.field import start_visit
from jobs.core.checklists import AIR_CONNECTED, AIR_RELEASED, DEFAULT_CHECKLISTS, problems_of, safety_keys
from jobs.models import ChecklistTemplate, VisitKind
from tests import factories

PAGE = reverse("jobs:checklist_edit", args=["winterisation"])


def typed(page, **changed) -> dict:
    """What a browser would send: every field as it stands, a disabled one not at all."""
    formset = page.context["formset"]
    data = {"based_on": page.context["seen"].version}
    for form in [formset.management_form, *formset.forms]:
        for bound in form:
            if not bound.field.disabled and bound.value() not in (None, False):
                data[bound.html_name] = bound.value()
    return data | changed


def row_of(page, key: str) -> str:
    [found] = [form.prefix for form in page.context["formset"].forms if form.initial.get("key") == key]
    return found


def test_a_change_makes_the_next_version_and_a_visit_under_way_keeps_its_own(as_office, site, technician, office):
    visit = factories.VisitFactory(site=site, technician=technician, kind="winterisation")
    start_visit(visit=visit, by=technician)
    page = as_office.get(PAGE)
    tidy, wording = row_of(page, "left_tidy"), row_of(page, AIR_RELEASED)
    new = f"steps-{len(DEFAULT_CHECKLISTS['winterisation'])}"
    sent = typed(page, **{
        f"{tidy}-drop": "on", f"{wording}-text": "Gauge at zero, hose off.",
        f"{new}-text": "Gate locked", f"{new}-position": "1",
    })  # fmt: skip

    assert as_office.post(PAGE, sent).status_code == 302

    made = current_checklist("winterisation")
    items = {item.key: item for item in made.items.all()}
    assert (made.version, made.items.first().key) == (2, "gate_locked")
    assert "left_tidy" not in items
    assert items[AIR_RELEASED].text == "Gauge at zero, hose off."
    assert items[AIR_RELEASED].caution  # kept
    visit.refresh_from_db()
    assert visit.checklist.version == 1
    later = factories.VisitFactory(site=site, technician=technician, kind="winterisation", season_year=2030)
    start_visit(visit=later, by=technician)
    later.refresh_from_db()
    assert later.checklist == made


def test_the_same_steps_again_make_no_version(as_office):
    assert as_office.post(PAGE, typed(as_office.get(PAGE))).status_code == 302
    assert current_checklist("winterisation").version == 1


@pytest.mark.parametrize("kind", VisitKind.values)
def test_no_safety_step_can_be_dropped_or_opened_by_a_forged_form(as_office, kind):
    address = reverse("jobs:checklist_edit", args=[kind])
    page = as_office.get(address)
    forged = {}
    for key in safety_keys(kind):
        forged |= {f"{row_of(page, key)}-drop": "on", f"{row_of(page, key)}-gate": ""}
    as_office.post(address, typed(page, **forged))
    here = {item.key: item.gate for item in current_checklist(kind).items.all()}
    usual = {step.key: step.gate for step in DEFAULT_CHECKLISTS[kind]}
    assert {key: here[key] for key in safety_keys(kind)} == {key: usual[key] for key in safety_keys(kind)}


def test_safety_steps_keep_their_order_and_cautions_and_nothing_typed_is_lost(as_office):
    page = as_office.get(PAGE)
    connected, tidy = row_of(page, AIR_CONNECTED), row_of(page, "left_tidy")
    sent = typed(page, **{f"{connected}-position": "900", f"{tidy}-text": "All tidy"})
    answer = as_office.post(PAGE, sent)
    assert answer.status_code == 422
    assert "must stay in their order" in answer.content.decode()
    assert "All tidy" in answer.content.decode()
    bare = typed(page, **{f"{row_of(page, AIR_RELEASED)}-caution": " "})
    assert "must not be empty" in as_office.post(PAGE, bare).content.decode()
    nothing = typed(page, **{f"{row_of(page, 'left_tidy')}-text": ""})
    assert "Enter the step" in as_office.post(PAGE, nothing).content.decode()
    assert ChecklistTemplate.objects.filter(kind="winterisation").count() == 1


def test_of_two_who_change_it_at_once_the_second_is_told(as_office, office):
    page = as_office.get(PAGE)
    steps = [step for step in DEFAULT_CHECKLISTS["winterisation"] if step.key != "left_tidy"]
    save_checklist(kind="winterisation", steps=steps, based_on=1, by=office)
    answer = as_office.post(PAGE, typed(page, **{f"{row_of(page, 'left_tidy')}-text": "My words"}))
    assert answer.status_code == 422
    assert "Version 2 was saved by somebody else" in answer.content.decode()
    assert "My words" in answer.content.decode()


def test_what_every_installation_begins_with_has_no_problem():
    for kind, steps in DEFAULT_CHECKLISTS.items():
        assert problems_of(kind, steps) == []
    assert problems_of("repair", []) == ["A checklist needs at least one step."]
