"""The price list, kept by the office."""

from typing import Any

from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_safe

from jobs.forms.priced import PriceItemForm
from jobs.models import PriceItem
from sites.access import OFFICE, Request, open_to, visible_or_404
from sites.answers import answer_deletion, answer_form, typed
from sites.models import Firm


@require_safe
@open_to(*OFFICE)
def price_list(request: Request) -> HttpResponse:
    context = {"items": PriceItem.objects.order_by("-active", "name"), "currency": Firm.current().currency}
    return render(request, "jobs/price_list.html", context)


@open_to(*OFFICE)
def price_new(request: Request) -> HttpResponse:
    return _answer(request, PriceItem(), title="New item of the price list")


@open_to(*OFFICE)
def price_edit(request: Request, pk: int) -> HttpResponse:
    item = visible_or_404(PriceItem.objects.all(), request.user, pk=pk)
    return _answer(request, item, title=str(item), delete_url=reverse("jobs:price_delete", args=[pk]))


@open_to(*OFFICE)
def price_delete(request: Request, pk: int) -> HttpResponse:
    return answer_deletion(
        request,
        visible_or_404(PriceItem.objects.all(), request.user, pk=pk),
        what="item of the price list",
        back_url=reverse("jobs:price_edit", args=[pk]),
        done_url=reverse("jobs:price_list"),
        instead="Clear the tick at “active” instead: it is not offered any more, and what was written stays.",
    )


def _answer(request: Request, item: PriceItem, *, title: str, **shown: Any) -> HttpResponse:
    prices = reverse("jobs:price_list")
    form = PriceItemForm(**typed(request), instance=item)
    return answer_form(request, form, title=title, back_url=prices, done_url=prices, **shown)
