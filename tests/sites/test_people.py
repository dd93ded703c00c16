"""Accounts, the own password and the firm's settings."""

import pytest
from django.core.management import call_command
from django.urls import reverse

from sites.models import AuditEntry, Firm, User
from tests import factories

NEW = {
    "username": "nora",
    "first_name": "Nora",
    "last_name": "Falk",
    "role": "technician",
    "is_active": "on",
    "password": "gravel-and-clay-9",
}


def post(client, name, data, status, *args):
    response = client.post(reverse(f"sites:{name}", args=args), data)
    assert response.status_code == status
    return response


def test_the_office_makes_an_account_that_can_sign_in(client, office):
    client.force_login(office)
    post(client, "person_new", NEW, 302)
    nora = User.objects.get(username="nora")
    assert nora.role == "technician"
    assert not nora.is_superuser
    assert client.login(username="nora", password="gravel-and-clay-9")
    detail = AuditEntry.objects.get(verb="created").detail["values"]
    assert "password" not in detail


@pytest.mark.parametrize(
    ("typed", "field", "words"),
    [
        ({"role": "owner"}, "role", "Only an owner may give this role."),
        ({"role": "office"}, "role", "Only an owner may give this role."),
        ({"role": "client"}, "client", "Choose the client whose sites this person may see."),
        ({"password": ""}, "password", "This field is required."),
        ({"password": "short"}, "password", "at least 12 characters"),
        ({"password": "nora-nora-nora", "username": "nora-nora-nora"}, "password", "too similar"),
        ({"username": "otto"}, "username", "already exists"),
    ],
)
def test_a_wrong_account_is_told_beside_its_field(client, office, typed, field, words):
    client.force_login(office)
    response = post(client, "person_new", NEW | typed, 422)
    assert words in response.context["form"].errors[field][0]
    assert 'value="Falk"' in response.content.decode()
    assert User.objects.filter(username="nora").count() == 0


def test_only_a_client_belongs_to_a_client(client, office, site):
    client.force_login(office)
    response = post(client, "person_new", NEW | {"client": site.client_id}, 422)
    assert response.context["form"].errors["client"]
    post(client, "person_new", NEW | {"role": "client", "client": site.client_id}, 302)
    assert User.objects.get(username="nora").client == site.client


def test_an_owner_makes_office_accounts_and_the_office_cannot_touch_them(client, owner, office):
    client.force_login(owner)
    post(client, "person_new", NEW | {"role": "office"}, 302)
    nora = User.objects.get(username="nora")
    client.force_login(office)
    for person in (owner, nora):
        assert client.get(reverse("sites:person_edit", args=[person.pk])).status_code == 403
        post(client, "person_edit", NEW | {"password": "another-good-one-1"}, 403, person.pk)
    owner.refresh_from_db()
    assert owner.role == "owner"


def test_a_closed_account_cannot_sign_in(client, office, technician):
    client.force_login(office)
    data = {"username": technician.username, "role": "technician", "password": ""}
    post(client, "person_edit", data, 302, technician.pk)
    assert not client.login(username=technician.username, password=factories.PASSWORD)


def test_an_edit_without_a_password_keeps_it(client, office, technician):
    client.force_login(office)
    data = {"username": technician.username, "role": "technician", "is_active": "on", "phone": "5550100"}
    post(client, "person_edit", data, 302, technician.pk)
    assert client.login(username=technician.username, password=factories.PASSWORD)


def test_nobody_closes_the_own_account_and_the_last_owner_stays_owner(client, owner):
    client.force_login(owner)
    data = {"username": "olive", "role": "owner"}
    assert post(client, "person_edit", data, 422, owner.pk).context["form"].errors["is_active"]
    response = post(client, "person_edit", data | {"role": "office", "is_active": "on"}, 422, owner.pk)
    assert "This is the last owner" in response.content.decode()
    owner.refresh_from_db()
    assert owner.role == "owner"


def test_a_technician_opens_no_accounts_and_no_firm_settings(client, technician):
    client.force_login(technician)
    for name in ("person_list", "person_new", "firm_edit", "client_list", "tariff_list"):
        assert client.get(reverse(f"sites:{name}")).status_code == 403


def test_staff_and_clients_are_listed_apart(client, office, technician, client_user):
    client.force_login(office)
    staff = client.get(reverse("sites:person_list")).content.decode()
    assert "tess" in staff
    assert "hazel" not in staff
    clients = client.get(reverse("sites:person_list"), {"of": "clients", "q": "hazel"}).content.decode()
    assert "Hazel Court" in clients
    assert "tess" not in clients


@pytest.mark.parametrize("person", ["technician", "client_user"])
def test_everyone_changes_the_own_password(client, request, person):
    user = request.getfixturevalue(person)
    client.force_login(user)
    new = {"new_password1": "gravel-and-clay-9", "new_password2": "gravel-and-clay-9"}
    wrong = post(client, "own_password", new | {"old_password": "guessed"}, 422)
    assert "old_password" in wrong.context["form"].errors
    post(client, "own_password", new | {"old_password": factories.PASSWORD}, 302)
    assert client.login(username=user.username, password="gravel-and-clay-9")


FIRM = {
    "name": "Alder Creek",
    "units": "us",
    "paper": "letter",
    "locale": "en-US",
    "currency": "usd",
    "time_zone": "America/Los_Angeles",
    "yard_latitude": "47.6",
    "yard_longitude": "-122.3",
}


def test_the_firm_chooses_units_and_paper(client, office, site):
    client.force_login(office)
    post(client, "firm_edit", FIRM, 302)
    firm = Firm.objects.get()
    assert (firm.units, firm.locale, firm.paper, firm.currency) == ("us", "en-US", "letter", "USD")
    assert "60.9 psi" in client.get(reverse("sites:site_page", args=[site.pk])).content.decode()  # 420 kPa


@pytest.mark.parametrize(
    ("typed", "field"),
    [
        ({"yard_latitude": "91"}, "yard_latitude"),
        ({"currency": "€"}, "currency"),
        ({"time_zone": "PST"}, "time_zone"),
    ],
)
def test_wrong_settings_are_told_beside_their_field_and_change_nothing(client, office, typed, field):
    client.force_login(office)
    response = post(client, "firm_edit", FIRM | typed, 422)
    assert list(response.context["form"].errors) == [field]
    assert Firm.objects.get().name == "Test Irrigation Service"


def test_the_first_firm_is_entered_on_an_empty_installation(client, db):
    client.force_login(factories.UserFactory(role="owner"))
    post(client, "firm_edit", FIRM, 302)
    assert Firm.objects.get().name == "Alder Creek"


def test_who_is_made_from_a_shell_on_an_empty_installation_is_the_owner(client, db, monkeypatch):
    monkeypatch.setenv("DJANGO_SUPERUSER_PASSWORD", "gravel-and-sand-12")
    call_command("createsuperuser", interactive=False, username="first", email="first@firm.example", verbosity=0)
    client.force_login(User.objects.get(username="first"))
    assert client.get(reverse("sites:person_list")).status_code == 200
    assert client.get(reverse("sites:firm_edit")).status_code == 200
