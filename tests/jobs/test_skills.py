"""Who may do what, and when the firm is closed: from the team page to the plan."""

import datetime as dt

import pytest
from django.urls import reverse

from jobs.actions.planning import change_visit, plan_day, plan_season
from jobs.core.routing.replan import replan
from jobs.core.routing.season import points_needed
from jobs.core.routing.travel import GreatCircle
from jobs.models import ClosedDays, Skill, TechnicianProfile, Visit, VisitTerms
from jobs.queries.planning import planning_technicians, technician_days
from jobs.queries.skills import SkillNeeds
from jobs.queries.upsets import situation
from sites.models import AuditEntry
from tests import factories
from tests.jobs.planning_rows import make_visits, monday_ahead, plan_request, planned

pytestmark = pytest.mark.django_db


@pytest.fixture
def tester():
    """Every startup at a site with a backflow assembly needs a tester."""
    return Skill.objects.create(name="Backflow tester", kinds=["startup"], plant="backflow")


def give(technician, *skills):
    TechnicianProfile.objects.get(user=technician).skills.set(skills)


def plan(office, **changes):
    return plan_season(run=plan_request(office, kinds=["startup", "repair"], rounds=4, **changes))


def test_kind_plant_site_and_visit_each_ask_for_a_skill(tester, django_assert_max_num_queries):
    pumps = Skill.objects.create(name="Pumps", kinds=["startup", "winterisation"], plant="pump")
    Skill.objects.create(name="Mains power", kinds=[])
    first, second, third = make_visits(3)
    factories.BackflowAssemblyFactory(site=first.site)
    factories.PumpFactory(supply=factories.WaterSupplyFactory(site=second.site))
    VisitTerms.objects.create(site=third.site).skills.set([pumps])
    third.skills.set(Skill.objects.filter(name="Mains power"))
    with django_assert_max_num_queries(6):
        needs = SkillNeeds.of([first, second, third])
        found = [needs.of_visit(visit) for visit in (first, second, third)]
    assert found == [{"Backflow tester"}, {"Pumps"}, {"Pumps", "Mains power"}]
    assert needs.at(first.site_id, "mid_season") == frozenset()


def test_the_plan_sends_only_who_may_do_the_work(office, technician, other_technician, tester):
    visits = make_visits(6)
    for visit in visits[:3]:
        factories.BackflowAssemblyFactory(site=visit.site)
    give(other_technician, tester)
    summary = plan(office)
    assert not summary.unplaced
    rows = Visit.objects.in_bulk([visit.pk for visit in visits])
    assert {rows[visit.pk].technician_id for visit in visits[:3]} == {other_technician.pk}


def test_work_that_nobody_may_do_is_told_with_the_skill(office, technician, tester):
    (visit,) = make_visits(1)
    factories.BackflowAssemblyFactory(site=visit.site)
    (missing,) = plan(office).unplaced
    assert "can do: Backflow tester" in missing.reason
    assert any("Backflow tester" in text for text in missing.remedies)


def test_a_wish_of_the_client_is_kept_when_it_costs_nothing(office, technician, other_technician):
    visits = make_visits(4)
    for n, visit in enumerate(visits):
        who = (technician, other_technician)[n % 2]
        VisitTerms.objects.create(site=visit.site, preferred_technician=who, preferred_weekdays=[n // 2])
    plan(office)
    for n, visit in enumerate(visits):
        visit.refresh_from_db()
        assert visit.technician == (technician, other_technician)[n % 2]


def test_nobody_is_planned_while_the_firm_is_closed(desk, office, technician):
    monday = monday_ahead()
    make_visits(12)
    desk.post(
        reverse("jobs:closed_days_new"),
        {"starts_on": monday, "ends_on": monday + dt.timedelta(days=2), "reason": "Harvest holiday"},
    )
    days = technician_days(planning_technicians(), monday, monday + dt.timedelta(days=4))
    assert [day.date for day in days] == [monday + dt.timedelta(days=n) for n in (3, 4)]
    plan(office)
    planned_on = set(Visit.objects.exclude(planned_on=None).values_list("planned_on", flat=True))
    assert planned_on
    assert min(planned_on) > monday + dt.timedelta(days=2)
    page = desk.get(f"{reverse('jobs:day_board')}?date={monday}").content.decode()
    assert "The firm is closed: Harvest holiday" in page


def test_closed_days_that_end_before_they_begin_come_back_as_typed(desk):
    answer = desk.post(
        reverse("jobs:closed_days_new"), {"starts_on": "2031-05-02", "ends_on": "2031-05-01", "reason": "Feast"}
    )
    assert answer.status_code == 422
    assert "must not lie before" in answer.content.decode()
    assert 'value="Feast"' in answer.content.decode()
    assert not ClosedDays.objects.exists()


def test_the_team_page_keeps_skills_and_says_who_holds_them(desk, technician):
    desk.post(reverse("jobs:skill_new"), {"name": "Mains power", "kinds": ["repair"], "plant": "pump"})
    skill = Skill.objects.get()
    page = desk.get(reverse("jobs:technician_list")).content.decode()
    assert "Repair only at sites with a pump" in page
    assert "nobody" in page
    profile = technician.technician_profile
    hours = {"day_starts_at": "07:30", "day_ends_at": "16:30", "lunch_min": 30, "working_weekdays": [0, 1, 2, 3, 4]}
    desk.post(reverse("jobs:technician_edit", args=[technician.pk]), {**hours, "skills": [skill.pk]})
    assert list(profile.skills.all()) == [skill]
    assert "nobody" not in desk.get(reverse("jobs:technician_list")).content.decode()


def test_a_visit_asks_for_a_skill_of_its_own_on_its_page(desk, technician):
    skill = Skill.objects.create(name="Mains power")
    (visit,) = make_visits(1)
    data = {
        "opens_on": visit.opens_on,
        "due_on": visit.due_on,
        "service_min": 60,
        "instructions": "",
        "skills": [skill.pk],
    }
    assert desk.post(reverse("jobs:visit_plan", args=[visit.pk]), data).status_code == 302
    assert list(visit.skills.all()) == [skill]
    wrong = desk.post(reverse("jobs:visit_plan", args=[visit.pk]), {**data, "skills": [999999]})
    assert wrong.status_code == 422
    assert list(visit.skills.all()) == [skill]


def test_a_replan_moves_a_visit_only_to_who_may_do_it_but_lets_it_stand_where_it_was_put(
    office, technician, other_technician
):
    """It stands, knowingly, with somebody who may not; when that person falls ill it goes to nobody like that."""
    skill = Skill.objects.create(name="Pumps", kinds=["startup"])
    make_visits(2)
    visit, other = Visit.objects.order_by("pk")
    other.delete()
    planned(visit, technician, monday_ahead(), promised=True)
    plan_day(date=monday_ahead(), technician=technician, by=office)
    now = dt.datetime.combine(monday_ahead(), dt.time(5), tzinfo=dt.UTC)
    standing = situation(first_day=monday_ahead(), last_day=monday_ahead(), now=now)
    travel = GreatCircle().matrix(points_needed(standing.visits, standing.days))
    kept, _ = replan(standing.previous, standing.visits, standing.days, travel)
    assert kept.assignment == {str(visit.pk): (str(technician), monday_ahead())}
    left = [day for day in standing.days if day.technician != str(technician)]
    gone, _ = replan(standing.previous, standing.visits, left, travel)
    assert [row.key for row in gone.unplaced] == [str(visit.pk)]
    give(other_technician, skill)
    able = situation(first_day=monday_ahead(), last_day=monday_ahead(), now=now)
    left = [day for day in able.days if day.technician != str(technician)]
    moved, _ = replan(able.previous, able.visits, left, travel)
    assert moved.assignment == {str(visit.pk): (str(other_technician), monday_ahead())}


def test_the_offices_reason_for_the_dates_stays_in_the_office(client, office, technician, client_user, site):
    note = "5 days earlier: client will not listen"
    visit = factories.VisitFactory(
        site=site, technician=technician, planned_on=monday_ahead(), state="finished", window_reason=note
    )
    for who, sees in ((office, True), (technician, False), (client_user, False)):
        client.force_login(who)
        row = client.get(f"/api/visits/{visit.pk}/").json()
        assert (row["id"], row.get("window_reason")) == (visit.pk, note if sees else None)


def test_changing_only_the_skills_of_a_visit_leaves_a_row_in_the_audit(office, technician):
    skill = Skill.objects.create(name="Mains power")
    (visit,) = make_visits(1)
    change_visit(visit=visit, changes={"skills": [skill]}, by=office)
    entry = AuditEntry.objects.get(verb="skills changed")
    assert (entry.subject_id, entry.detail) == (str(visit.pk), {"skills": ["Mains power"]})
