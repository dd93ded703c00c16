"""Clients and the water tariffs of their sites."""

from typing import Any

from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse

from sites.access import OFFICE, Request, open_to, visible_or_404
from sites.actions.register import save_tariff
from sites.answers import answer_archive, answer_deletion, answer_form, page_of, search_text, typed
from sites.forms.places import ClientForm, TariffBlockFormSet, TariffForm
from sites.models import Client, Tariff
from sites.queries.lists import client_rows


def client_url(client: Client) -> str:
    return reverse("sites:client_page", args=[client.pk])


@open_to(*OFFICE)
def client_list(request: Request) -> HttpResponse:
    text = search_text(request)
    archived = bool(request.GET.get("archived"))
    page = page_of(request, client_rows(user=request.user, text=text, archived=archived))
    return render(request, "sites/client_list.html", {"page": page, "text": text, "archived": archived})


@open_to(*OFFICE)
def client_page(request: Request, pk: int) -> HttpResponse:
    client = visible_or_404(Client.objects.all(), request.user, pk=pk)
    shown = {"client": client, "sites": client.sites.all(), "people": client.people.all()}
    return render(request, "sites/client_page.html", shown)


@open_to(*OFFICE)
def client_new(request: Request) -> HttpResponse:
    form = ClientForm(**typed(request))
    back_url = reverse("sites:client_list")
    return answer_form(request, form, title="New client", back_url=back_url, done_url=client_url)


@open_to(*OFFICE)
def client_edit(request: Request, pk: int) -> HttpResponse:
    client = visible_or_404(Client.objects.all(), request.user, pk=pk)
    form = ClientForm(**typed(request), instance=client)
    return answer_form(request, form, title=f"Edit {client}", back_url=client_url(client), done_url=client_url)


@open_to(*OFFICE)
def client_archive(request: Request, pk: int) -> HttpResponse:
    """Archive a client without current sites, bring back an archived one."""
    client = visible_or_404(Client.objects.all(), request.user, pk=pk)
    lead = "The client leaves the lists. Sites, visits and reports are kept."
    return answer_archive(request, client, lead=lead, back_url=client_url(client))


@open_to(*OFFICE)
def tariff_list(request: Request) -> HttpResponse:
    tariffs = Tariff.objects.visible_to(request.user).prefetch_related("blocks")
    return render(request, "sites/tariff_list.html", {"tariffs": tariffs})


@open_to(*OFFICE)
def tariff_new(request: Request) -> HttpResponse:
    return _answer_tariff(request, Tariff(), title="New tariff")


@open_to(*OFFICE)
def tariff_edit(request: Request, pk: int) -> HttpResponse:
    tariff = visible_or_404(Tariff.objects.all(), request.user, pk=pk)
    delete_url = reverse("sites:tariff_delete", args=[pk])
    return _answer_tariff(request, tariff, title=f"Edit {tariff}", delete_url=delete_url)


@open_to(*OFFICE)
def tariff_delete(request: Request, pk: int) -> HttpResponse:
    tariff = visible_or_404(Tariff.objects.all(), request.user, pk=pk)
    return answer_deletion(
        request,
        tariff,
        what="tariff",
        back_url=reverse("sites:tariff_edit", args=[pk]),
        done_url=reverse("sites:tariff_list"),
        instead="Choose another tariff on those sites first.",
    )


def _answer_tariff(request: Request, tariff: Tariff, *, title: str, **shown: Any) -> HttpResponse:
    form = TariffForm(**typed(request), instance=tariff)
    blocks = TariffBlockFormSet(**typed(request), instance=tariff, prefix="blocks")

    def write() -> None:
        kept = blocks.save(commit=False)
        save_tariff(tariff=form.instance, blocks=kept, removed=blocks.deleted_objects, by=request.user)

    if request.method == "POST" and not blocks.is_valid():
        form.add_error(None, "The blocks below need a look.")
    tariffs = reverse("sites:tariff_list")
    return answer_form(
        request,
        form,
        title=title,
        back_url=tariffs,
        done_url=tariffs,
        write=write,
        template="sites/tariff_form.html",
        blocks=blocks,
        **shown,
    )
