from jobs.models import ServicePlan


def test_the_office_sets_what_a_site_has_ordered(client, office, site):
    client.force_login(office)

    answer = client.post(f"/sites/{site.pk}/service-plan/", {"startup": "on", "mid_season_visits": "2"})

    assert (answer.status_code, answer.url) == (302, f"/sites/{site.pk}/visits/")
    plan = ServicePlan.objects.get(site=site)
    assert (plan.startup, plan.mid_season_visits, plan.winterisation) == (True, 2, False)
    assert "startup, 2 mid-season checks" in client.get(f"/sites/{site.pk}/visits/").content.decode()


def test_changing_it_again_keeps_one_plan(client, office, site):
    client.force_login(office)
    for count in ("2", "3"):
        client.post(f"/sites/{site.pk}/service-plan/", {"mid_season_visits": count})

    assert ServicePlan.objects.get(site=site).mid_season_visits == 3


def test_too_many_checks_are_refused_beside_the_field_and_the_number_stays(client, office, site):
    client.force_login(office)

    answer = client.post(f"/sites/{site.pk}/service-plan/", {"mid_season_visits": "40"})

    assert answer.status_code == 422
    page = answer.content.decode()
    assert "Must be at most 12." in page
    assert 'value="40"' in page
    assert not ServicePlan.objects.exists()
