from django.conf import settings
from django.contrib.auth.decorators import login_not_required
from django.db import connection
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.views.decorators.cache import never_cache
from redis import Redis, RedisError

from config.glossary import TERMS
from sites.access import EVERYONE, Request, open_to
from sites.models import Role


@login_not_required
@never_cache
def healthz(request: HttpRequest) -> HttpResponse:
    """The process answers. Says nothing about what lies behind it."""
    return JsonResponse({"status": "ok"})


@login_not_required
@never_cache
def readyz(request: HttpRequest) -> HttpResponse:
    """The database and, where one is configured, the broker answer; 503 names the part that does not."""
    checks = {"database": _database_answers()}
    if settings.REDIS_URL:
        checks["broker"] = _broker_answers()
    ready = all(checks.values())
    return JsonResponse({"ready": ready, **checks}, status=200 if ready else 503)


def _database_answers() -> bool:
    try:
        with connection.cursor() as cursor:
            cursor.execute("SELECT 1")
    except Exception:  # noqa: BLE001 - any failure means "not ready", whatever its class
        return False
    return True


def _broker_answers() -> bool:
    try:
        with Redis.from_url(settings.REDIS_URL, socket_timeout=2, socket_connect_timeout=2) as redis:
            return bool(redis.ping())
    except RedisError:
        return False


HOME_BY_ROLE = {
    Role.OWNER: "jobs:season_board",
    Role.OFFICE: "jobs:season_board",
    Role.TECHNICIAN: "jobs:today",
    Role.CLIENT: "reports:client_home",
}


@open_to(Role.OWNER, Role.OFFICE, Role.TECHNICIAN, Role.CLIENT)
def home(request: Request) -> HttpResponse:
    return redirect(HOME_BY_ROLE[Role(request.user.role)])


@open_to(*EVERYONE)
def glossary(request: Request) -> HttpResponse:
    return render(request, "glossary.html", {"terms": sorted(TERMS, key=lambda term: term.name.lower())})
