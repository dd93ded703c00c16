"""Every write to a row of the register: checked, saved whole, with an audit row that tells what changed."""

from typing import Any, TypeVar

from django.db import transaction
from django.db.models import Model, ProtectedError
from django.utils import timezone

from sites.actions.audit import record
from sites.models import Client, Photo, Site, Tariff, TariffBlock, User
from sites.queries.deletion import Deletion, deletion_of

Kept = TypeVar("Kept", bound=Model)


class StillNeeded(ProtectedError):
    """The row stays because others point to it; `str()` says which, `deletion` has the list."""

    def __init__(self, row: Model, deletion: Deletion) -> None:
        self.deletion = deletion
        message = f"{row} stays: it is part of {', '.join(deletion.kept_by)}."
        super().__init__(message, set())

    def __str__(self) -> str:
        return str(self.args[0])


class NotYet(Exception):
    """Something has to happen first; `str()` says what."""


@transaction.atomic
def save(*, instance: Kept, by: User | None) -> Kept:
    """Create or change one row. Raises ValidationError where the model's own rules are broken."""
    created = instance._state.adding
    before = {} if created else _values(type(instance)._default_manager.get(pk=instance.pk))
    instance.full_clean()
    instance.save()
    after = _values(instance)
    if created:
        record(by=by, verb="created", subject=instance, values=_plain(after))
        return instance
    changed = {name: _plain([before[name], value]) for name, value in after.items() if before[name] != value}
    if changed:
        record(by=by, verb="changed", subject=instance, changed=changed)
    return instance


@transaction.atomic
def delete(*, instance: Model, by: User | None) -> None:
    """Delete one row and what belongs to it. Raises StillNeeded where history refers to it."""
    deletion = deletion_of(instance)
    if not deletion.allowed:
        raise StillNeeded(instance, deletion)
    record(by=by, verb="deleted", subject=instance, values=_plain(_values(instance)), along=list(deletion.goes_along))
    images = _images_of(instance)
    instance.delete()
    transaction.on_commit(lambda: [image.storage.delete(image.name) for image in images])


def _images_of(row: Model) -> list:
    if isinstance(row, Photo):
        return [row.image]
    return [photo.image for photo in row.photos.all()] if isinstance(row, Site) else []


@transaction.atomic
def save_tariff(*, tariff: Tariff, blocks: list[TariffBlock], removed: list[TariffBlock], by: User) -> Tariff:
    """Save a tariff with its blocks. Blocks to be removed go first, so that their limits are free again."""
    save(instance=tariff, by=by)
    for block in removed:
        delete(instance=block, by=by)
    for block in blocks:
        block.tariff = tariff
        save(instance=block, by=by)
    return tariff


@transaction.atomic
def archive(*, row: Client | Site, by: User) -> None:
    """Take a client or a site out of daily work; nothing is deleted.

    A client must have no current site, a site no visit on a technician's day. Raises NotYet.
    """
    if isinstance(row, Client) and row.sites.current().exists():
        raise NotYet("This client still has current sites. Archive those first.")
    # `visits` is the reverse side of jobs.Visit.site, as in `site_scope`: a technician must not drive to a site that
    # has left the lists.
    if isinstance(row, Site) and row.visits.filter(state__in=("planned", "started")).exists():
        raise NotYet("A technician's visit is planned or under way here. Cancel or finish it first.")
    row.archived_at = timezone.now()
    row.save(update_fields=["archived_at"])
    record(by=by, verb="archived", subject=row)


@transaction.atomic
def restore(*, row: Client | Site, by: User) -> None:
    """Bring an archived client or site back. A site comes back only to a current client."""
    if isinstance(row, Site) and row.client.archived_at:
        raise NotYet("The client of this site is archived. Bring the client back first.")
    row.archived_at = None
    row.save(update_fields=["archived_at"])
    record(by=by, verb="restored", subject=row)


SECRET_FIELDS = {"password"}


def _values(row: Model) -> dict[str, Any]:
    return {
        field.attname: field.value_from_object(row)
        for field in row._meta.concrete_fields
        if not field.primary_key and field.name not in SECRET_FIELDS
    }


def _plain(value: Any) -> Any:
    """A value as JSON can hold it."""
    if isinstance(value, dict):
        return {key: _plain(item) for key, item in value.items()}
    if isinstance(value, list):
        return [_plain(item) for item in value]
    if value is None or isinstance(value, bool | int | float | str):
        return value
    return str(value)
