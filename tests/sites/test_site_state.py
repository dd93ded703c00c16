"""A site's state on its pages: shown, set by hand with a reason, taken back."""

import datetime as dt

import pytest

from jobs.queries.planning import firm_today
from sites.models import AuditEntry, StateChange
from sites.queries.site_state import standing_of
from tests import factories


def page(browser, address):
    return browser.get(address).content.decode()


def test_the_office_shuts_a_site_off_with_day_and_reason(as_office, office, site):
    assert "on (not recorded)" in page(as_office, f"/sites/{site.pk}/")

    typed = {"state": "off", "changed_on": "2026-05-04", "reason": "House empty until autumn"}
    as_office.post(f"/sites/{site.pk}/state/", typed)

    (change,) = StateChange.objects.all()
    assert (change.state, change.changed_on, change.recorded_by) == ("off", dt.date(2026, 5, 4), office)
    assert not standing_of(site).is_on
    assert "off since 4 May 2026" in page(as_office, f"/sites/{site.pk}/")
    assert "off since 4 May 2026" in page(as_office, "/sites/")
    assert AuditEntry.objects.filter(verb="state changed", by=office).count() == 1


@pytest.mark.parametrize(
    ("typed", "complaint"),
    [
        ({"reason": ""}, "This field is required"),
        ({"changed_on": "2999-01-01"}, "This day has not come yet"),
        ({"changed_on": "yesterday"}, "Enter a valid date"),
        ({"state": "wet"}, "Select a valid choice"),
    ],
)
def test_a_bad_entry_is_told_beside_the_field_and_loses_nothing(as_office, site, typed, complaint):
    typed = {"state": "off", "changed_on": "2026-05-04", "reason": "Main line dug up"} | typed

    answer = as_office.post(f"/sites/{site.pk}/state/", typed)

    assert answer.status_code == 422
    text = answer.content.decode()
    assert complaint in text
    assert not typed["reason"] or typed["reason"] in text
    assert not StateChange.objects.exists()


def test_a_wrong_entry_is_taken_back_and_the_one_before_counts_again(as_office, site):
    factories.StateChangeFactory(site=site)
    wrong = factories.StateChangeFactory(site=site, state="winter", changed_on=dt.date(2026, 6, 1))

    as_office.post(f"/state-changes/{wrong.pk}/withdraw/")

    assert standing_of(site, dt.date(2026, 6, 2)).words == "on since 10 Apr 2026"
    assert AuditEntry.objects.get(verb="state change withdrawn").detail["state"] == "winter"


def test_clients_see_the_state_but_not_the_reason(client, client_user, site):
    factories.StateChangeFactory(site=site, state="off", reason="Owes three invoices")
    client.force_login(client_user)

    shown = page(client, f"/sites/{site.pk}/") + page(client, "/api/state-changes/")

    assert "off since 10 Apr 2026" in shown
    assert "invoices" not in shown


def test_a_day_without_a_record_is_asked_in_the_site_s_own_time(site):
    factories.StateChangeFactory(site=site, changed_on=firm_today(), state="off")

    assert not standing_of(site, firm_today()).is_on
