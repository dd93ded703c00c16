"""The list of sites, one site's register, and the site's own form."""

from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse

from sites.access import EVERYONE, OFFICE, Request, open_to, visible_or_404
from sites.answers import (
    answer_archive,
    answer_deletion,
    answer_form,
    page_of,
    search_text,
    typed,
    whole_number,
)
from sites.core.checks import check_site
from sites.core.findings import CheckFinding
from sites.forms.meters import reading_form_for
from sites.forms.places import SiteForm
from sites.models import Client, Firm, Site, User
from sites.queries.lists import site_rows
from sites.queries.site_page import site_page as site_page_of
from sites.queries.site_state import standing_of, with_standing


def site_url(site: Site, anchor: str = "") -> str:
    return reverse("sites:site_page", args=[site.pk]) + (f"#{anchor}" if anchor else "")


@open_to(*EVERYONE)
def site_list(request: Request) -> HttpResponse:
    text = search_text(request)
    archived = bool(request.GET.get("archived")) and request.user.is_office
    rows = page_of(request, site_rows(user=request.user, text=text, archived=archived))
    shown = {"page": rows, "rows": with_standing(rows), "text": text, "archived": archived}
    return render(request, "sites/site_list.html", shown)


@open_to(*EVERYONE)
def site_page(request: Request, pk: int) -> HttpResponse:
    site = visible_or_404(Site.objects.select_related("client", "weather_station", "tariff"), request.user, pk=pk)
    register = site_page_of(site, request.user)
    staff = request.user.is_office or request.user.is_technician
    meters = [
        (line, reading_form_for(line.meter) if staff and not line.meter.removed_on else None)
        for line in register.meters
    ]
    findings = check_site(register.plant, register.today) if staff else ()
    shown = {
        "findings": [(finding, _edit_url(finding, request.user)) for finding in findings],
        "site": site,
        "register": register,
        "standing": standing_of(site),
        "place": register.place,
        "meters": meters,
        "staff": staff,
    }
    return render(request, "sites/site_page.html", shown)


def _edit_url(finding: CheckFinding, user: User) -> str:
    """Where the office repairs what was found; a finding's subject is the word of a kind of plant."""
    return reverse(f"sites:{finding.subject}_edit", args=[finding.subject_id]) if user.is_office else ""


@open_to(*OFFICE)
def site_new(request: Request) -> HttpResponse:
    wanted = whole_number(request.GET.get("client"))
    client = Client.objects.visible_to(request.user).filter(pk=wanted).first() if wanted else None
    form = SiteForm(**typed(request), initial={"client": client, "time_zone": Firm.current().time_zone})
    return answer_form(request, form, title="New site", back_url=reverse("sites:site_list"), done_url=site_url)


@open_to(*OFFICE)
def site_edit(request: Request, pk: int) -> HttpResponse:
    site = visible_or_404(Site.objects.all(), request.user, pk=pk)
    form = SiteForm(**typed(request), instance=site)
    return answer_form(
        request,
        form,
        title=f"Edit {site}",
        back_url=site_url(site),
        done_url=site_url,
        delete_url=reverse("sites:site_delete", args=[pk]),
    )


@open_to(*OFFICE)
def site_archive(request: Request, pk: int) -> HttpResponse:
    """Archive a current site, bring back an archived one."""
    site = visible_or_404(Site.objects.select_related("client"), request.user, pk=pk)
    lead = "It leaves the lists and gets no more visits. Its register, visits and reports are kept."
    return answer_archive(request, site, lead=lead, back_url=site_url(site))


@open_to(*OFFICE)
def site_delete(request: Request, pk: int) -> HttpResponse:
    site = visible_or_404(Site.objects.all(), request.user, pk=pk)
    return answer_deletion(
        request,
        site,
        what="site",
        back_url=site_url(site),
        done_url=reverse("sites:site_list"),
        instead="Archive it instead.",
    )
