"""The glossary: one list, shown to everybody who may sign in and linked from the fields it explains."""

import re

from django.urls import reverse

from config.glossary import TERMS, term_of
from sites.forms.plant import ControllerForm, ValveForm, ZoneForm


def test_terms_have_one_meaning_and_one_anchor_each():
    assert len({term.anchor for term in TERMS}) == len({term.name.lower() for term in TERMS}) == len(TERMS)
    assert [term.name for term in TERMS if not term.meaning.endswith(".") and not term.meaning.endswith(").")] == []


def test_every_field_that_a_term_names_exists_so_that_no_link_is_lost():
    forms = (ControllerForm, ValveForm, ZoneForm)
    labels = {str(field.label).lower() for form in forms for field in form.base_fields.values() if field.label}
    elsewhere = {"cycles", "soak, min", "static pressure", "prime delay", "severity"}  # drawn by other forms

    assert {label for term in TERMS for label in term.fields} - labels - elsewhere == set()


def test_a_field_links_to_its_term_and_the_foot_of_a_page_to_all(client, office, site):
    client.force_login(office)
    page = client.get(reverse("sites:zone_new", args=[site.pk])).content.decode()

    assert f'href="{reverse("glossary")}#application-rate"' in page
    anchors = re.findall(r'<dt id="([^"]+)">', client.get(reverse("glossary")).content.decode())
    assert "application-rate" in anchors
    assert len(anchors) == len(TERMS)
    assert term_of("Application rate").name == "Application rate"
    assert term_of("access notes") is None
