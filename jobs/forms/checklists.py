"""The steps of a checklist as the office types them."""

from collections.abc import Sequence
from typing import Any, cast

from django import forms
from django.utils.text import slugify

from jobs.core.checklists import Step, safety_keys
from jobs.models import ChecklistItem
from sites.forms.base import choice_field

MOST_STEPS = 60
NEW_ROWS = 3
UNIT_KINDS = [("", "no unit"), ("pressure", "pressure"), ("flow", "flow"), ("temperature", "temperature")]
ANSWERS = [(value, label) for value, label in ChecklistItem.Answer.choices if value != "choice"]
KEY_CHARS = 50
LAST_PLACE = 999


class StepEditForm(forms.Form):
    """One step. A safety step can be worded again and moved; it cannot be dropped or opened."""

    position = forms.IntegerField(label="Position", min_value=1, max_value=LAST_PLACE, required=False)
    text = forms.CharField(
        label="Step",
        max_length=240,
        widget=forms.Textarea(attrs={"rows": 2}),
        error_messages={"required": "Enter the step, or tick that it is left out."},
    )
    caution = forms.CharField(
        label="Caution shown with it", required=False, max_length=1000, widget=forms.Textarea(attrs={"rows": 2})
    )
    answer = forms.ChoiceField(label="Answered by", choices=ANSWERS, required=False, initial="tick")
    unit_kind = forms.ChoiceField(label="Unit of the number", choices=UNIT_KINDS, required=False)
    gate = forms.BooleanField(label="The steps after it wait until it is done", required=False)
    drop = forms.BooleanField(label="Leave this step out", required=False)

    def __init__(self, *args: Any, fixed: Sequence[str] = (), **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.is_safety = self.initial.get("key", "") in fixed
        if self.initial.get("answer") == "choice":
            choice_field(self, "answer").choices = [("choice", "one of a list")]
        if self.is_safety:
            for name in ("answer", "unit_kind", "gate", "drop"):
                self.fields[name].disabled = True


class StepsFormSet(forms.BaseFormSet):
    """All steps of a kind; `usual` are those of the version that is being changed."""

    def __init__(self, data: Any = None, *, kind: str, usual: Sequence[Step], **kwargs: Any) -> None:
        self.usual = {step.key: step for step in usual}
        initial = [
            {
                "key": step.key,
                "position": place,
                "text": step.text,
                "caution": step.caution,
                "answer": step.answer,
                "unit_kind": step.unit_kind,
                "gate": step.gate,
            }
            for place, step in enumerate(usual, start=1)
        ]
        super().__init__(data, initial=initial, prefix="steps", form_kwargs={"fixed": safety_keys(kind)}, **kwargs)

    @property
    def steps(self) -> list[Step]:
        """The typed steps in the order of their places: at one place the moved or new one first, without one last."""
        kept = [form for form in self.forms if form.cleaned_data and not form.cleaned_data["drop"]]
        kept.sort(key=lambda form: (form.cleaned_data["position"] or LAST_PLACE, "position" not in form.changed_data))
        taken = set(self.usual)
        return [self._step(form.initial.get("key", ""), form.cleaned_data, taken) for form in kept]

    def _step(self, known: str, row: dict[str, Any], taken: set[str]) -> Step:
        usual = self.usual.get(known)
        key = usual.key if usual else _new_key(row["text"], taken)
        taken.add(key)
        return Step(
            key=key,
            text=row["text"].strip(),
            caution=row["caution"].strip(),
            gate=row["gate"],
            answer=row["answer"] or "tick",
            unit_kind=row["unit_kind"] if row["answer"] == "number" else "",
            options=usual.options if usual else (),
        )


def _new_key(text: str, taken: set[str]) -> str:
    """A word for the step that no other has; it stays when the text is changed later."""
    base = slugify(text)[:KEY_CHARS].replace("-", "_") or "step"
    number, key = 1, base
    while key in taken:
        number += 1
        key = f"{base}_{number}"
    return key


StepEditFormSet = forms.formset_factory(
    StepEditForm, formset=StepsFormSet, extra=NEW_ROWS, max_num=MOST_STEPS, validate_max=True
)


def step_forms(data: Any, *, kind: str, usual: Sequence[Step]) -> StepsFormSet:
    """The steps of a kind of visit as rows to type in."""
    return cast(StepsFormSet, StepEditFormSet(data, kind=kind, usual=usual))  # type: ignore[call-arg]  # arguments of StepsFormSet
