"""What mail programs and services call: stop reminders, and mail that came back. Each is closed by a signature."""

import hashlib
import hmac
import json
import time
from typing import Final

from django.conf import settings
from django.contrib.auth.decorators import login_not_required
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import require_http_methods, require_POST

from reports.actions.bounces import Bounce, record_all
from reports.actions.reminders import stop_reminders
from reports.queries.unsubscribe import client_of_token

MOST_BODY_BYTES: Final = 256 * 1024
MOST_AGE_S: Final = 300


# A mail program posts without cookies (RFC 8058): the signed token in the address stands in for the form's token.
@csrf_exempt
@require_http_methods(["GET", "HEAD", "POST"])
@login_not_required
def unsubscribe(request: HttpRequest, token: str) -> HttpResponse:
    """No more reminders for one client. Only a POST changes anything: scanners open links."""
    client = client_of_token(token)
    if client is None:
        raise Http404
    if request.method == "POST":
        stop_reminders(client=client)
        client.refresh_from_db()
    response = render(request, "reports/unsubscribe.html", {"stopped": not client.wants_reminders})
    response["Referrer-Policy"] = "no-referrer"
    response["X-Robots-Tag"] = "noindex"
    response["Cache-Control"] = "no-store"
    return response


def signature(secret: str, moment: str, body: bytes) -> str:
    """What the mail service sends: HMAC-SHA256 in hex over the moment (seconds), a full stop and the body."""
    return hmac.new(secret.encode(), f"{moment}.".encode() + body, hashlib.sha256).hexdigest()


def _signed(request: HttpRequest) -> bool:
    moment = request.headers.get("X-Bounce-Time", "")
    given = request.headers.get("X-Bounce-Signature", "")
    if not (moment.isascii() and moment.isdigit() and abs(time.time() - int(moment[:12])) <= MOST_AGE_S):
        return False
    return hmac.compare_digest(given.encode(), signature(settings.BOUNCE_SECRET, moment, request.body).encode())


@csrf_exempt
@require_POST
@login_not_required
def bounces(request: HttpRequest) -> HttpResponse:
    """Mail that came back, as a JSON list of {message_id, recipient, reason}. Closed without a secret."""
    if not settings.BOUNCE_SECRET:
        raise Http404
    if int(request.headers.get("Content-Length") or 0) > MOST_BODY_BYTES:
        return JsonResponse({"error": "too large"}, status=413)
    if not _signed(request):
        return JsonResponse({"error": "not signed, or too old"}, status=403)
    try:
        rows = [_bounce(row) for row in json.loads(request.body)]
    except (ValueError, TypeError, AttributeError):
        return JsonResponse({"error": "not a list of bounces"}, status=400)
    read, marked = record_all(bounces=iter(rows), now=timezone.now())
    return JsonResponse({"read": read, "marked": marked})


def _bounce(row: dict) -> Bounce:
    values = [row.get(key, "") for key in ("message_id", "recipient", "reason")]
    if not values[0] or not all(isinstance(value, str) for value in values):
        raise ValueError("A bounce names its message.")
    return Bounce(*values)
