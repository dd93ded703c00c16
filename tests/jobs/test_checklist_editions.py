"""A change of the usual safety steps reaches every installation: silently where nobody worded the list, else told."""

import importlib

import pytest
from django.apps import apps
from django.urls import reverse

from jobs.actions.checklists import current_checklist
from jobs.core.checklist_editions import EDITION, SAFETY_CHANGES, changes_since, with_safety
from jobs.core.checklist_former import EDITION_1
from jobs.core.checklists import DEFAULT_CHECKLISTS, Step, problems_of
from jobs.models import ChecklistItem, ChecklistTemplate

LIST, EDIT = reverse("jobs:checklist_list"), reverse("jobs:checklist_edit", args=["winterisation"])
migration = importlib.import_module("jobs.migrations.0015_checklist_editions")


def as_before(kind: str, own: str = "") -> ChecklistTemplate:
    """An installation whose list of `kind` is the usual one of before; `own` words its first step again."""
    ChecklistTemplate.objects.filter(kind=kind).delete()
    made = ChecklistTemplate.objects.create(kind=kind, version=1, edition=1)
    for place, step in enumerate(EDITION_1[kind], start=1):
        ChecklistItem.objects.create(
            template=made, position=place, key=step.key, text=own if own and place == 1 else step.text,
            caution=step.caution, gate=step.gate, answer=step.answer, unit_kind=step.unit_kind,
            options=[list(option) for option in step.options],
        )  # fmt: skip
    return made


def keys(template: ChecklistTemplate) -> list[str]:
    return list(template.items.values_list("key", flat=True))


@pytest.mark.django_db
@pytest.mark.parametrize("kind", DEFAULT_CHECKLISTS)
def test_a_list_nobody_changed_gets_todays_steps_as_its_next_version(kind):
    before = as_before(kind)
    migration.renew(apps, None)
    made = current_checklist(kind)
    assert (made.version, made.edition) == (2, EDITION)
    assert keys(made) == [step.key for step in DEFAULT_CHECKLISTS[kind]]
    assert keys(before) == [step.key for step in EDITION_1[kind]]  # visits under way keep theirs


@pytest.mark.django_db
def test_a_list_of_the_offices_own_words_stays_as_it_is_until_the_office_saves_it(as_office):
    before = as_before("winterisation", own="Dog in? Gate shut?")
    migration.renew(apps, None)
    assert current_checklist("winterisation") == before
    team, page, editor = (as_office.get(url) for url in (reverse("jobs:technician_list"), LIST, EDIT))
    assert "Safety steps have changed in 1 checklist" in team.content.decode()
    for shown in (page, editor):
        for change in SAFETY_CHANGES["winterisation"]:
            assert change.why[:40].replace("'", "&#x27;").replace('"', "&quot;") in shown.content.decode()
    typed = {"based_on": "1"}
    for form in [editor.context["formset"].management_form, *editor.context["formset"].forms]:
        for bound in form:
            if not bound.field.disabled and bound.value() not in (None, False):
                typed[bound.html_name] = bound.value()
    assert as_office.post(EDIT, typed).status_code == 302
    made = current_checklist("winterisation")
    assert (made.version, made.edition) == (2, EDITION)
    assert keys(made) == [step.key for step in DEFAULT_CHECKLISTS["winterisation"]]
    assert made.items.first().text == "Dog in? Gate shut?"
    assert made.items.get(key="connected_downstream").caution.startswith(
        "Never blow air through a pump or through any"
    )
    assert "Safety steps have changed" not in as_office.get(LIST).content.decode()
    assert "Safety steps have changed" not in as_office.get(reverse("jobs:technician_list")).content.decode()


@pytest.mark.django_db
def test_a_new_installation_begins_with_todays_edition(as_office):
    assert {row.edition for row in ChecklistTemplate.objects.filter(current=True)} == {EDITION}
    assert "Safety steps have changed" not in as_office.get(LIST).content.decode()


@pytest.mark.parametrize("kind", DEFAULT_CHECKLISTS)
def test_steps_of_the_office_keep_their_place_and_what_it_left_out_stays_out(kind):
    former = EDITION_1[kind]
    own = Step("call_the_gatekeeper", "Gatekeeper called.")
    theirs = [former[0], own, *[step for step in former[1:] if step.key != "left_tidy"]]
    made = with_safety(kind, theirs)
    names = [step.key for step in made]
    assert names[names.index("site_made_safe") + 1] == own.key
    assert "left_tidy" not in names
    assert problems_of(kind, made) == []
    assert changes_since(kind, 1) == SAFETY_CHANGES[kind]
    assert changes_since(kind, EDITION) == ()
