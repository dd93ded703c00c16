"""Who sends from a phone. Also people whose access was withdrawn: what they hold is taken in, nothing is shown."""

from django.contrib.auth import BACKEND_SESSION_KEY, HASH_SESSION_KEY, SESSION_KEY
from django.utils.crypto import constant_time_compare

from jobs.actions.inbox import has_access, may_send
from sites.access import Request
from sites.models import User


def sender_of(request: Request) -> tuple[User | None, bool]:
    """The person behind the request's session and whether they still have access; (None, False) for a stranger."""
    person = request.user if request.user.is_authenticated else _withdrawn(request)
    if person is None or not may_send(person):
        return None, False
    return person, has_access(person)


def _withdrawn(request: Request) -> User | None:
    """A deactivated person whose session on this phone was opened while they had access."""
    if not request.session.get(BACKEND_SESSION_KEY):
        return None
    person = User.objects.filter(pk=request.session.get(SESSION_KEY), is_active=False).first()
    if person is None:
        return None
    kept = request.session.get(HASH_SESSION_KEY) or ""
    return person if constant_time_compare(kept, person.get_session_auth_hash()) else None
