"""What else a deletion would touch, asked before anything is deleted."""

from collections import Counter
from dataclasses import dataclass
from typing import Any

from django.contrib.admin.utils import NestedObjects
from django.db.models import Model


@dataclass(frozen=True)
class Deletion:
    """Words such as "8 valves": what goes along, what loses its link, and what forbids the deletion."""

    goes_along: tuple[str, ...]
    loses_link: tuple[str, ...]
    kept_by: tuple[str, ...]

    @property
    def allowed(self) -> bool:
        return not self.kept_by


def deletion_of(row: Model) -> Deletion:
    """Walk everything that hangs on `row`.

    Rows of the register go along with it. Rows of the apps above (visits, measurements, faults, schedules,
    documents) are history: one of them, even one that would only lose its link, keeps the row from going.
    """
    nested = NestedObjects(using=row._state.db or "default")
    nested.collect([row])
    goes_along: Counter[type[Model]] = Counter()
    loses_link: Counter[type[Model]] = Counter()
    kept_by: Counter[type[Model]] = Counter()
    by_model: dict[Any, set[Model]] = nested.model_objs  # by class, where the stubs say by name
    updates: dict[Any, Any] = nested.field_updates
    for model, rows in by_model.items():
        others = [other for other in rows if other != row]
        if not _same_floor(model, row):
            kept_by[model] += len(others)
        elif not model._meta.auto_created:  # the links of a choice of several have no name people know
            goes_along[model] += len(others)
    for related in nested.protected:
        kept_by[type(related)] += 1
    for (field, _), batches in updates.items():
        count = sum(len(batch) for batch in batches)
        (loses_link if _same_floor(field.model, row) else kept_by)[field.model] += count
    return Deletion(_words(goes_along), _words(loses_link), _words(kept_by))


def _same_floor(model: type[Model], row: Model) -> bool:
    return model._meta.app_label == row._meta.app_label


def _words(counts: Counter[type[Model]]) -> tuple[str, ...]:
    return tuple(
        f"{count} {model._meta.verbose_name if count == 1 else model._meta.verbose_name_plural}"
        for model, count in counts.items()
        if count > 0
    )
