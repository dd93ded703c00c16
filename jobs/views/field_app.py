"""The page that works without signal: its shell, its worker, and the day's data it takes along."""

import datetime as dt
import hashlib
import io
import json
from pathlib import Path

from django.contrib.auth.decorators import login_not_required
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.middleware.csrf import get_token
from django.template.loader import render_to_string
from django.templatetags.static import static
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.gzip import gzip_page
from django.views.decorators.http import require_GET
from PIL import Image

from jobs.core.rulebook import phone_rules
from jobs.queries.field_bundle import day_bundle
from jobs.views.field_sender import sender_of
from sites.access import STAFF, Request, open_to, visible_or_404
from sites.models import Firm, Photo

APP_DIR = Path(__file__).resolve().parent.parent
WORKER = APP_DIR / "static" / "jobs" / "field" / "worker.js"
SCRIPTS = ("outbox", "store", "diagnosis", "send", "dom", "figures", "measures", "valve", "fault", "screens", "page")
STYLES = ("rillbook/base.css", "jobs/field.css", "jobs/field_app.css")
ICON = "rillbook/icon.svg"
THUMBNAIL_PX = 240


@open_to(*STAFF)
@never_cache
@require_GET
def shell(request: Request) -> HttpResponse:
    """The same bytes for everyone: nothing about a person stands in it."""
    return HttpResponse(_shell())


def _shell() -> str:
    """With the rules of a measurement in the firm's units, so that script and rules are always of one version."""
    scripts = [f"jobs/field/{name}.js" for name in SCRIPTS]
    rules = phone_rules(Firm.current().units)
    return render_to_string("jobs/field_app.html", {"scripts": scripts, "measures": rules})


@login_not_required
@never_cache
@require_GET
def worker(request: HttpRequest) -> HttpResponse:
    """Served under /field/, so that this is its scope; the list and its hash change with every deployment."""
    files = [static(name) for name in (*STYLES, ICON, *(f"jobs/field/{script}.js" for script in SCRIPTS))]
    listed = [reverse("jobs:field_app"), reverse("jobs:field_manifest"), *files]
    version = hashlib.sha256("\n".join([*listed, _shell()]).encode()).hexdigest()[:16]
    head = f"self.RILLBOOK = {json.dumps({'version': version, 'files': listed})};\n"
    return HttpResponse(head + WORKER.read_text(), content_type="text/javascript")


@login_not_required
@require_GET
def manifest(request: HttpRequest) -> HttpResponse:
    """Web app manifest (W3C), so that the page can be put on the home screen."""
    page = reverse("jobs:field_app")
    return JsonResponse(
        {
            "name": "Rillbook in the field",
            "short_name": "Field",
            "id": page,
            "start_url": page,
            "scope": page,
            "display": "standalone",
            "background_color": "#fbf9f5",
            "theme_color": "#11504d",
            "icons": [{"src": static(ICON), "sizes": "any", "type": "image/svg+xml", "purpose": "any"}],
        },
        content_type="application/manifest+json",
    )


@login_not_required
@never_cache
@require_GET
def session(request: Request) -> HttpResponse:
    """Who is signed in, a fresh token for sending, and the server's clock. Proves that the way here is open."""
    person, access = sender_of(request)
    return JsonResponse(
        {
            "app": "rillbook",
            "user": person and {"id": person.pk, "name": str(person)},
            "access": access,
            "csrf": get_token(request) if person else "",
            "now": timezone.now().isoformat(),
        }
    )


@open_to(*STAFF)
@never_cache
@gzip_page  # 136 kB of a full day become 9; no secret stands in it that its length could betray
@require_GET
def bundle(request: Request) -> HttpResponse:
    """The day of the person who asks, as JSON. ?date=YYYY-MM-DD for another day."""
    try:
        date = dt.date.fromisoformat(request.GET.get("date") or timezone.localdate().isoformat())
    except ValueError:
        return JsonResponse({"errors": {"date": ["Not a date."]}}, status=400)
    return JsonResponse(day_bundle(request.user, date))


@open_to(*STAFF)
@require_GET
def thumbnail(request: Request, pk: int) -> HttpResponse:
    """A site's photo small enough to take many along."""
    row = visible_or_404(Photo.objects.all(), request.user, pk=pk)
    try:
        with row.image.open("rb") as file, Image.open(file, formats=["JPEG"]) as image:
            image.draft("RGB", (2 * THUMBNAIL_PX, 2 * THUMBNAIL_PX))
            image.thumbnail((THUMBNAIL_PX, THUMBNAIL_PX))
            small = io.BytesIO()
            image.convert("RGB").save(small, "JPEG", quality=70)
    except FileNotFoundError as error:
        raise Http404 from error
    response = HttpResponse(small.getvalue(), content_type="image/jpeg")
    response.headers["Cache-Control"] = "private, max-age=86400"
    response.headers["Content-Security-Policy"] = "default-src 'none'; sandbox"
    return response
