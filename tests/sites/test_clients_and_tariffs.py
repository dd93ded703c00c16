from decimal import Decimal

import pytest
from django.urls import reverse

from sites.models import Client, Site, Tariff
from tests import factories


@pytest.fixture
def office_page(client, office):
    client.force_login(office)
    return client


def blocks(*rows, first=0) -> dict:
    """A tariff's block lines as the browser sends them."""
    data = {
        "name": "City water",
        "fixed_per_month": "18",
        "blocks-TOTAL_FORMS": str(len(rows)),
        "blocks-INITIAL_FORMS": str(first),
    }
    for number, row in enumerate(rows):
        data |= {f"blocks-{number}-{name}": value for name, value in row.items()}
    return data


def block(start, price, **more) -> dict:
    return {"from_m3": start, "price_per_m3": price, **more}


def test_a_client_is_added_found_and_edited(office_page, firm):
    typed = {"name": "Alder Homes", "report_as": "attachment", "language": "en"}
    response = office_page.post(reverse("sites:client_new"), typed | {"email": "a@example.com"})
    added = Client.objects.get()
    assert response.headers["Location"] == reverse("sites:client_page", args=[added.pk])
    assert "Alder Homes" in office_page.get(reverse("sites:client_list"), {"q": "alder a@ex"}).content.decode()
    office_page.post(reverse("sites:client_edit", args=[added.pk]), typed | {"phone": "5550101"})
    added.refresh_from_db()
    assert (added.phone, added.email) == ("5550101", "")


def test_a_wrong_address_is_told_beside_the_field(office_page, firm):
    response = office_page.post(reverse("sites:client_new"), {"name": "Alder", "email": "not an address"})
    assert response.status_code == 422
    assert response.context["form"].errors["email"]
    assert 'value="not an address"' in response.content.decode()


def test_the_client_list_costs_as_many_queries_for_three_as_for_one(office_page, site, django_assert_num_queries):
    address = reverse("sites:client_list")
    with django_assert_num_queries(5):  # session, person, firm, count, rows
        office_page.get(address)
    factories.ClientFactory.create_batch(2)
    with django_assert_num_queries(5):
        office_page.get(address)


def test_a_client_with_current_sites_is_not_archived(office_page, site):
    archive = reverse("sites:client_archive", args=[site.client_id])
    page = office_page.post(archive, follow=True).content.decode()
    assert "This client still has current sites." in page
    office_page.post(reverse("sites:site_archive", args=[site.pk]))
    office_page.post(archive)
    site.client.refresh_from_db()
    assert site.client.archived_at
    page = office_page.post(reverse("sites:site_archive", args=[site.pk]), follow=True).content.decode()
    assert "Bring the client back first." in page
    assert Site.objects.get(pk=site.pk).archived_at


def test_an_archived_client_is_not_offered_for_a_new_site(office_page, site, other_site):
    office_page.post(reverse("sites:site_archive", args=[site.pk]))
    office_page.post(reverse("sites:client_archive", args=[site.client_id]))
    form = office_page.get(reverse("sites:site_new")).context["form"]
    assert list(form.fields["client"].queryset) == [other_site.client]


def test_a_tariff_is_entered_with_its_blocks(office_page, firm):
    response = office_page.post(
        reverse("sites:tariff_new"), blocks(block("0", "1.20"), block("30", "2.45"), block("", ""))
    )
    assert response.status_code == 302
    tariff = Tariff.objects.get()
    assert [(row.from_m3, row.price_per_m3) for row in tariff.blocks.all()] == [
        (0, Decimal("1.2")),
        (30, Decimal("2.45")),
    ]


def test_a_block_is_taken_away_and_its_limit_used_again(office_page, firm):
    office_page.post(reverse("sites:tariff_new"), blocks(block("0", "1.20"), block("30", "2.45")))
    tariff = Tariff.objects.get()
    first, second = tariff.blocks.all()
    rows = blocks(
        block("0", "1.20", id=first.pk),
        block("30", "2.45", id=second.pk, DELETE="on"),
        block("30", "3.00"),
        first=2,
    )
    assert office_page.post(reverse("sites:tariff_edit", args=[tariff.pk]), rows).status_code == 302
    assert [row.price_per_m3 for row in tariff.blocks.all()] == [Decimal("1.2"), Decimal("3")]


@pytest.mark.parametrize(
    ("rows", "words"),
    [
        ([block("10", "1")], "One block must start at 0"),
        ([block("0", "1"), block("0", "2")], "Two blocks start at the same amount."),
        ([block("0", "-1")], "Must be at least 0"),
        ([block("0", "")], "This field is required."),
    ],
)
def test_wrong_blocks_are_told_and_nothing_typed_is_lost(office_page, firm, rows, words):
    response = office_page.post(reverse("sites:tariff_new"), blocks(*rows))
    assert response.status_code == 422
    text = response.content.decode()
    assert words in text
    assert 'value="City water"' in text
    assert not Tariff.objects.exists()


def test_a_us_firm_types_gallons_and_a_price_per_thousand(office_page, firm):
    firm.units = "us"
    firm.save()
    office_page.post(reverse("sites:tariff_new"), blocks(block("0", "6.50"), block("7480", "9")))
    tariff = Tariff.objects.get()
    first, second = tariff.blocks.all()
    assert first.price_per_m3 == Decimal("1.7171")  # 6.50 / 3.785411784 m³ in 1,000 US gal
    assert second.from_m3 == pytest.approx(28.315, abs=0.001)  # 10 × 100 ft³
    page = office_page.get(reverse("sites:tariff_edit", args=[tariff.pk])).content.decode()
    assert 'value="6.500"' in page
    assert "6.50 per 1,000 gal" in office_page.get(reverse("sites:tariff_list")).content.decode()
    same = blocks(block("0.0", "6.500", id=first.pk), block("7480.0", "9.000", id=second.pk), first=2)
    assert office_page.post(reverse("sites:tariff_edit", args=[tariff.pk]), same).status_code == 302
    assert tariff.blocks.first().price_per_m3 == Decimal("1.7171")


def test_a_tariff_in_use_stays(office_page, site):
    tariff = Tariff.objects.create(name="City water")
    Site.objects.filter(pk=site.pk).update(tariff=tariff)
    response = office_page.post(reverse("sites:tariff_delete", args=[tariff.pk]))
    assert response.status_code == 409
    assert "1 site" in response.content.decode()
