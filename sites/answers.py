"""How the register's pages answer: one way for forms, one for deletions, one for long lists."""

from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.core.paginator import Page, Paginator
from django.db.models import Model, QuerySet
from django.forms import BaseForm, BaseModelForm
from django.http import HttpResponse
from django.shortcuts import redirect, render

from sites.access import Request
from sites.actions import register
from sites.forms.base import OwnForm
from sites.models import Client, Site
from sites.queries.deletion import Deletion, deletion_of

ROWS_A_PAGE = 50


def page_of(request: Request, rows: QuerySet) -> Page:
    return Paginator(rows, ROWS_A_PAGE).get_page(request.GET.get("page"))


def search_text(request: Request) -> str:
    return request.GET.get("q", "").replace("\x00", "").strip()


def whole_number(text: str | None) -> int | None:
    """A row's number out of an address; None for anything that is none."""
    return int(text) if text and text.isascii() and text.isdigit() and len(text) < 12 else None


def typed(request: Request) -> dict[str, Any]:
    """What a form is bound to: nothing on GET."""
    if request.method != "POST":
        return {"data": None, "files": None}
    return {"data": request.POST, "files": request.FILES}


def saved(form: BaseForm, write: Callable[[], Any], refused_beside: str | None = None) -> bool:
    """Whether the form was right and `write` took it; what `write` refuses stands beside that field."""
    if not form.is_valid():
        return False
    try:
        write()
    except ValidationError as error:
        form.add_error(refused_beside, error.messages)
        return False
    return True


def answer_form(
    request: Request,
    form: BaseModelForm | OwnForm,
    *,
    title: str,
    back_url: str,
    done_url: str | Callable[[Any], str],
    write: Callable[[], Any] | None = None,
    refused_beside: str | None = None,
    template: str = "sites/row_form.html",
    **shown: Any,
) -> HttpResponse:
    """Show the form; save a good one and go on; show a bad one again with 422 and everything typed."""
    write = write or (lambda: register.save(instance=form.instance, by=request.user))
    if request.method == "POST" and saved(form, write, refused_beside):
        row = form.instance  # a form without a model has one only now
        messages.success(request, f"Saved: {row}.")
        return redirect(done_url if isinstance(done_url, str) else done_url(row))
    return render(
        request,
        template,
        {"form": form, "title": title, "back_url": back_url, **shown},
        status=422 if form.is_bound else 200,
    )


def answer_deletion(
    request: Request, row: Model, *, what: str, back_url: str, done_url: str, instead: str, lead: str = ""
) -> HttpResponse:
    """Ask, naming what goes along; delete on POST; say in words why a row has to stay (409).

    `lead` says what else follows, `instead` what can be done where it has to stay.
    """
    shown = {"what": what, "back_url": back_url, "instead": instead, "lead": lead}
    if request.method == "POST":
        name = str(row)
        try:
            register.delete(instance=row, by=request.user)
        except register.StillNeeded as error:
            return _deletion_page(request, row, error.deletion, status=409, **shown)
        messages.success(request, f"Deleted: {name}.")
        return redirect(done_url)
    return _deletion_page(request, row, deletion_of(row), status=200, **shown)


def _deletion_page(request: Request, row: Model, deletion: Deletion, *, status: int, **shown: str) -> HttpResponse:
    shown_all = {"row": row, "deletion": deletion, **shown}
    return render(request, "sites/delete_page.html", shown_all, status=status)


def answer_archive(request: Request, row: Client | Site, *, lead: str, back_url: str) -> HttpResponse:
    """Ask before a client or a site leaves daily work, or comes back to it."""
    archived = row.archived_at is not None
    if request.method == "POST":
        change = register.restore if archived else register.archive
        try:
            change(row=row, by=request.user)
        except register.NotYet as error:
            messages.error(request, str(error))
        else:
            messages.success(request, f"{'Brought back' if archived else 'Archived'}: {row}.")
        return redirect(back_url)
    shown = {
        "title": f"{'Bring back' if archived else 'Archive'} {row}?",
        "lead": "It returns to the lists and to planning." if archived else lead,
        "submit_label": "Bring back" if archived else "Archive",
        "back_url": back_url,
    }
    return render(request, "confirm_page.html", shown)
