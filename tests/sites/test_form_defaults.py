"""A new row's form starts with what the register would assume, so that nobody has to tick seven days."""

import re

from sites.forms.places import SiteForm


def test_a_new_site_is_open_every_day_at_sea_level(firm):
    form = SiteForm()

    assert form["open_weekdays"].initial == [0, 1, 2, 3, 4, 5, 6]
    assert form["permitted_weekdays"].initial == [0, 1, 2, 3, 4, 5, 6]
    assert form["elevation_m"].initial == 0


def test_the_page_shows_those_days_ticked(client, office):
    client.force_login(office)

    page = client.get("/sites/new/").content.decode()

    assert len(re.findall(r'name="open_weekdays" value="\d"[^>]* checked', page)) == 7
