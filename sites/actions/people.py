"""Accounts of staff and clients. Nobody is deleted: who leaves may not sign in any more."""

from django.core.exceptions import PermissionDenied, ValidationError
from django.db import transaction

from sites.actions import register
from sites.actions.audit import record
from sites.models import Role, User

OFFICE_ROLES = {Role.OWNER, Role.OFFICE}


def may_manage(*, by: User, role: str) -> bool:
    """Owners manage every account, the office those of technicians and clients."""
    return by.role == Role.OWNER or (by.role == Role.OFFICE and role not in OFFICE_ROLES)


@transaction.atomic
def save_person(*, person: User, by: User, password: str = "") -> User:
    """Create or change an account; a password given replaces the old one and ends the person's sessions.

    Raises PermissionDenied where `by` may not manage the role the account has or gets, ValidationError where the
    firm would be left without an owner.
    """
    stored = User.objects.filter(pk=person.pk).first()
    for role in {person.role, stored.role if stored else person.role}:
        if not may_manage(by=by, role=role):
            raise PermissionDenied("Only an owner may manage owners and office accounts.")
    _keep_an_owner(person, stored)
    if password:
        person.set_password(password)
    register.save(instance=person, by=by)
    if password and stored:
        record(by=by, verb="set the password of", subject=person)
    return person


def _keep_an_owner(person: User, stored: User | None) -> None:
    leaves = stored and stored.role == Role.OWNER and (person.role != Role.OWNER or not person.is_active)
    if leaves and not User.objects.filter(role=Role.OWNER, is_active=True).exclude(pk=person.pk).exists():
        raise ValidationError("This is the last owner who may sign in. Make another owner first.")
