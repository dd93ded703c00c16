import secrets
import time
from collections.abc import Callable
from zoneinfo import ZoneInfo

import structlog
from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from sites.models import Firm

log = structlog.get_logger("rillbook.request")

# No inline script or style anywhere; photos taken on the phone are shown from blob: URLs.
CONTENT_SECURITY_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; font-src 'self'; "
    "connect-src 'self'; manifest-src 'self'; worker-src 'self'; form-action 'self'; base-uri 'none'; "
    "frame-ancestors 'none'"
)


class ContentSecurityPolicyMiddleware:
    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        response.headers.setdefault("Content-Security-Policy", CONTENT_SECURITY_POLICY)
        response.headers.setdefault("Permissions-Policy", "camera=(self), geolocation=(self), microphone=()")
        return response


class FirmTimeZoneMiddleware:
    """Show times in the firm's zone; a site's own zone is used where a page is about one site."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        with Firm.remembered() as firm, timezone.override(ZoneInfo(firm.time_zone)):
            return self.get_response(request)


class RequestLogMiddleware:
    """One structured line a request, with an id that the person can quote."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        request_id = secrets.token_hex(8)
        structlog.contextvars.bind_contextvars(request_id=request_id)
        started = time.perf_counter()
        try:
            response = self.get_response(request)
        finally:
            structlog.contextvars.unbind_contextvars("request_id")
        # The path only: query strings may carry what a person typed.
        log.info(
            "request",
            request_id=request_id,
            method=request.method,
            path=_path(request),
            status=response.status_code,
            ms=round((time.perf_counter() - started) * 1000, 1),
            user_id=getattr(getattr(request, "user", None), "pk", None),
        )
        response.headers["X-Request-ID"] = request_id
        return response


def _path(request: HttpRequest) -> str:
    """The path, but not a secret that is part of it."""
    match = request.resolver_match
    token = match.kwargs.get("token") if match else None
    return request.path.replace(token, "(token)") if token else request.path
