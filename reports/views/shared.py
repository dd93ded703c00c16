"""The page behind a share link. Open to strangers, closed by the token.

The token stands in one address only. Handing it in sets a signed cookie for this one report and leads to an address
without it, so that it stays out of history, referrers and logs. Each request looks the link up again: a revoked or
expired one is closed at once.
"""

from typing import Any, Final, TypeVar
from uuid import UUID

import structlog
from django.conf import settings
from django.contrib.auth.decorators import login_not_required
from django.core import signing
from django.core.cache import cache
from django.core.exceptions import ValidationError
from django.http import FileResponse, Http404, HttpRequest, HttpResponse, QueryDict
from django.http.response import HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from jobs.actions.proposals import Answer, NotAnswerable, answer
from jobs.queries.planning import firm_today
from reports.actions.links import count_view
from reports.forms import AnswerForm
from reports.models import Document, ShareLink
from reports.queries.proposal import document_file_name
from reports.queries.shared import link_of_token, report_page
from reports.queries.shared_proposal import ProposalPage, proposal_page

log = structlog.get_logger("rillbook.shared")

SALT: Final = "reports.shared"
COOKIE_AGE_S: Final = 2 * 3600
MOST_WRONG_TOKENS: Final = 10
WRONG_TOKENS_WINDOW_S: Final = 15 * 60

Reply = TypeVar("Reply", bound=HttpResponseBase)


def _quiet(response: Reply) -> Reply:
    """Tell nobody where the reader came from, keep no copy, stay out of search engines."""
    response["Referrer-Policy"] = "no-referrer"
    response["X-Robots-Tag"] = "noindex, nofollow, noarchive"
    response["Cache-Control"] = "no-store, private"
    return response


def _closed(request: HttpRequest, status: int) -> HttpResponse:
    """The same words for a wrong, an old and a revoked link: a guess learns nothing."""
    return _quiet(render(request, "reports/shared_closed.html", {"throttled": status == 429}, status=status))


def _address(request: HttpRequest) -> str:
    """Who asks. Behind our own proxy the last hop it added, otherwise the connection."""
    if settings.HTTPS:
        return request.headers.get("X-Forwarded-For", "").rpartition(",")[2].strip() or request.META["REMOTE_ADDR"]
    return request.META["REMOTE_ADDR"]


def _cookie_name(link: ShareLink) -> str:
    return f"shared-{link.uuid.hex}"


@require_safe
@login_not_required
def shared_enter(request: HttpRequest, token: str) -> HttpResponse:
    """Swap a token for a cookie. Opening it, as mail scanners do, neither consumes nor confirms anything."""
    counter = f"wrong-token-{_address(request)}"
    if cache.get(counter, 0) >= MOST_WRONG_TOKENS:
        response = _closed(request, 429)
        response["Retry-After"] = str(WRONG_TOKENS_WINDOW_S)
        return response
    link = link_of_token(token, timezone.now())
    if link is None:
        cache.add(counter, 0, WRONG_TOKENS_WINDOW_S)
        cache.incr(counter)
        return _closed(request, 404)
    address = reverse("reports:shared", args=[link.uuid])
    response = redirect(address)
    response.set_cookie(
        _cookie_name(link),
        signing.dumps(link.uuid.hex, salt=SALT),
        max_age=COOKIE_AGE_S,
        path=address,
        secure=settings.HTTPS,
        httponly=True,
        samesite="Lax",
    )
    return _quiet(response)


def _opened_link(request: HttpRequest, uuid: UUID) -> ShareLink | None:
    """The link this browser has opened, if it is open still."""
    rows = ShareLink.objects.open_at(timezone.now()).select_related("document__site__client", "document__proposal")
    link = rows.filter(uuid=uuid).first()
    if link is None:
        return None
    try:
        named = signing.loads(request.COOKIES.get(_cookie_name(link), ""), salt=SALT, max_age=COOKIE_AGE_S)
    except signing.BadSignature:
        return None
    return link if named == link.uuid.hex else None


@require_safe
@login_not_required
def shared(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """The report as a page; a proposal with the form to answer it."""
    link = _opened_link(request, uuid)
    if link is None:
        return _closed(request, 404)
    if link.document.kind == Document.Kind.PROPOSAL:
        if request.method == "GET":
            count_view(link=link, now=timezone.now())
        return _proposal(request, link)
    page = report_page(link.document)
    if page is None:
        return _quiet(redirect("reports:shared_pdf", link.uuid))
    if request.method == "GET":
        count_view(link=link, now=timezone.now())
    until = page.words.date(timezone.localdate(link.expires_at))
    context = {"page": page, "link": link, "words": page.words, "until": until}
    return _quiet(render(request, "reports/shared_report.html", context))


def _proposal(request: HttpRequest, link: ShareLink, *, form: AnswerForm | None = None, **shown: Any) -> HttpResponse:
    page = proposal_page(link.document, firm_today())
    status = shown.pop("status", 200)
    context = {"page": page, "link": link, "words": page.words, "form": form or _answer_form(page), **shown}
    response = _quiet(render(request, "reports/shared_proposal.html", context, status=status))
    # With "no-referrer" a browser posts the form as from "null", which the check of its origin refuses. The address
    # of this page is worth nothing without the cookie, and to other places it is not told either.
    response["Referrer-Policy"] = "same-origin"
    return response


def _answer_form(page: ProposalPage, data: QueryDict | None = None) -> AnswerForm:
    return AnswerForm(data, words=page.words, client=page.content["client_name"], total=page.total)


@require_POST
@login_not_required
def shared_answer(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """Accept or decline a proposal, once."""
    link = _opened_link(request, uuid)
    if link is None or link.document.kind != Document.Kind.PROPOSAL:
        return _closed(request, 404)
    proposal = link.document.proposal
    if proposal is None:
        return _closed(request, 404)
    page = proposal_page(link.document, firm_today())
    form = _answer_form(page, request.POST)
    if page.can_answer and not form.is_valid():
        return _proposal(request, link, form=form, status=422)
    try:
        if not page.can_answer:
            raise NotAnswerable(page.standing)
        name, note = form.cleaned_data["name"], form.cleaned_data["note"]
        said = Answer(form.accepted, name, note, timezone.now(), firm_today())
        answer(proposal=proposal, said=said, link=link.pk)
    except NotAnswerable:
        proposal.refresh_from_db()
        return _proposal(request, link, form=form, problem=page.words.say("proposal.too_late"), status=409)
    except ValidationError as error:
        log.error("proposal cannot be answered", proposal=proposal.pk, error=error.messages)
        return _proposal(request, link, form=form, problem=page.words.say("proposal.no_visit"), status=409)
    return _quiet(redirect("reports:shared", link.uuid))


@require_safe
@login_not_required
def shared_pdf(request: HttpRequest, uuid: UUID) -> HttpResponseBase:
    """The report as it was made."""
    link = _opened_link(request, uuid)
    if link is None:
        return _closed(request, 404)
    if not link.document.pdf:
        raise Http404
    name = f"{document_file_name(link.document)}.pdf"
    response = FileResponse(link.document.pdf.open("rb"), as_attachment=True, filename=name)
    response["Content-Type"] = "application/pdf"
    return _quiet(response)
