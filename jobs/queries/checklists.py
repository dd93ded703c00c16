"""A visit's checklist as rows: step, answer, and the gate that keeps it closed."""

from dataclasses import dataclass

from jobs.core.checklist_editions import EDITION, SafetyChange, changes_since, with_safety
from jobs.core.checklists import Step, closing_gates
from jobs.models import ChecklistAnswer, ChecklistItem, ChecklistTemplate, Visit
from sites.core.rulebook.choices import DRIP_EMITTERS
from sites.models import Zone


@dataclass(frozen=True)
class ChecklistRow:
    item: ChecklistItem
    answer: ChecklistAnswer | None
    closed_by: ChecklistItem | None

    @property
    def done(self) -> bool:
        return bool(self.answer and self.answer.done)


def checklist_of(visit: Visit) -> ChecklistTemplate | None:
    """The version the visit was started with, or before that the current one of its kind."""
    return visit.checklist or ChecklistTemplate.objects.filter(kind=visit.kind, current=True).first()


def steps_of(template: ChecklistTemplate) -> tuple[Step, ...]:
    """A version's steps in order, as the rules know them."""
    return tuple(
        Step(
            key=item.key,
            text=item.text,
            caution=item.caution,
            gate=item.gate,
            answer=item.answer,
            unit_kind=item.unit_kind,
            options=tuple((word, label) for word, label in item.options),
        )
        for item in template.items.all()
    )


def steps_to_edit(template: ChecklistTemplate) -> tuple[Step, ...]:
    """A version's steps as the editor shows them: with today's safety steps where it was saved before them."""
    steps = steps_of(template)
    return steps if template.edition >= EDITION else with_safety(template.kind, steps)


def safety_changes(template: ChecklistTemplate) -> tuple[SafetyChange, ...]:
    """What changed in the usual safety steps since the office last saved this checklist."""
    return changes_since(template.kind, template.edition)


def checklists_behind() -> list[ChecklistTemplate]:
    """The checklists in use whose safety steps the office has not looked at since they changed."""
    return list(ChecklistTemplate.objects.filter(current=True, edition__lt=EDITION))


def has_drip(site_id: int) -> bool:
    """Whether air may reach drip, the weakest there is, whatever the pipe."""
    return Zone.objects.filter(site_id=site_id, in_use=True, emitter__in=DRIP_EMITTERS).exists()


def checklist_rows(visit: Visit) -> list[ChecklistRow]:
    """Every step of the visit's checklist in order; before the visit starts, the steps it will have."""
    template = checklist_of(visit)
    if template is None:
        return []
    items = list(template.items.all())
    answers = {answer.item_id: answer for answer in visit.answers.select_related("answered_by", "item")}
    found = [answers.get(item.pk) for item in items]
    gates = closing_gates([item.gate for item in items], [bool(answer and answer.done) for answer in found])
    return [
        ChecklistRow(item, answer, None if gate is None else items[gate])
        for item, answer, gate in zip(items, found, gates, strict=True)
    ]
