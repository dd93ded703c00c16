"""Who may open which door. A view or endpoint that no role opens stays closed.

Two guards work together: the role decides whether a view opens at all (here), and each model's
`visible_to(user)` decides which rows exist for this person. A row outside answers 404 as if it were absent.
"""

from collections.abc import Callable
from typing import TYPE_CHECKING, TypeVar

from django.core.exceptions import PermissionDenied
from django.db.models import Model
from django.http import Http404, HttpRequest
from django.http.response import HttpResponseBase
from rest_framework.permissions import BasePermission

from sites.models import Role, User
from sites.models.rows import ScopedRows

if TYPE_CHECKING:  # the API's own settings name this module
    from rest_framework import request as rest
    from rest_framework.views import APIView

OFFICE = (Role.OWNER, Role.OFFICE)
STAFF = (Role.OWNER, Role.OFFICE, Role.TECHNICIAN)
EVERYONE = (Role.OWNER, Role.OFFICE, Role.TECHNICIAN, Role.CLIENT)

Shown = TypeVar("Shown", bound=Model)
View = TypeVar("View", bound=Callable[..., HttpResponseBase])


class Request(HttpRequest):
    """What a view gets behind the middleware that lets only signed-in people through."""

    user: User


def open_to(*roles: Role) -> Callable[[View], View]:
    """Open a page view to these roles."""

    def mark(view: View) -> View:
        view.open_to = frozenset(roles)  # type: ignore[attr-defined]  # a mark that only the middleware reads
        return view

    return mark


class ClosedUnlessOpenedMiddleware:
    """Refuses any view that carries no `open_to` mark for the signed-in person's role.

    Left to their own guards: views open to strangers (`login_not_required`: login, health), the Django admin
    (superusers only) and the API (`OpenToRoles`).
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        return self.get_response(request)

    def process_view(self, request: Request, view: Callable, args: tuple, kwargs: dict) -> None:
        if not getattr(view, "login_required", True):
            return
        if request.resolver_match and request.resolver_match.app_names[:1] == ["admin"]:
            if request.user.is_superuser:
                return
            raise PermissionDenied
        if hasattr(view, "cls") and hasattr(view.cls, "open_to"):
            return  # a REST view: its permission class decides per method
        if request.user.role in getattr(view, "open_to", ()):
            return
        raise PermissionDenied


class OpenToRoles(BasePermission):
    """A REST view lists its doors: `open_to = {"GET": STAFF, "POST": OFFICE}`. Anything else is closed."""

    def has_permission(self, request: "rest.Request", view: "APIView") -> bool:
        method = "GET" if request.method in ("HEAD", "OPTIONS") else request.method
        roles = getattr(view, "open_to", {}).get(method, ())
        return bool(request.user and request.user.is_authenticated and request.user.role in roles)


def visible_or_404(rows: ScopedRows[Shown], user: User, **lookup: object) -> Shown:
    """The one way a view gets a row: only what `visible_to(user)` shows exists."""
    try:
        return rows.visible_to(user).get(**lookup)
    except rows.model.DoesNotExist as error:  # type: ignore[attr-defined]  # every model has it
        raise Http404 from error
