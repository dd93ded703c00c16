"""The main menu: what each role finds in the top bar."""

from django import template
from django.template import Context
from django.urls import reverse

from sites.models import Role

OFFICE_MENU = (
    ("Season", "jobs:season_board"),
    ("Day plan", "jobs:day_board"),
    ("Sites", "sites:site_list"),
    ("Clients", "sites:client_list"),
    ("Watering", "scheduling:week"),
    ("Faults", "jobs:fault_list"),
    ("Proposals", "jobs:proposal_list"),
    ("From phones", "jobs:inbox"),
    ("Reports", "reports:report_list"),
    ("Weather", "scheduling:station_list"),
    ("Team", "jobs:technician_list"),
    ("Firm", "sites:firm_edit"),
)
MENUS = {
    Role.OWNER: OFFICE_MENU,
    Role.OFFICE: OFFICE_MENU,
    Role.TECHNICIAN: (("Today", "jobs:today"), ("Sites", "sites:site_list")),
    Role.CLIENT: (("Your sites", "reports:client_home"),),
}

register = template.Library()


@register.simple_tag(takes_context=True)
def menu(context: Context) -> list[dict]:
    """Entries of the signed-in role; `here` marks the one whose address the page lies under."""
    path = context["request"].path
    addresses = [(label, reverse(name)) for label, name in MENUS[Role(context["request"].user.role)]]
    return [{"label": label, "url": url, "here": path.startswith(url)} for label, url in addresses]
