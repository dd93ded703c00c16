"""The steps of a program change places by mouse, by finger and by keys, and stay there once saved."""

import datetime as dt

import pytest

from scheduling.models import Program, SeasonSchedule
from tests import factories

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def program(site):
    """A draft's program with four steps: zones 1, 2 and 3, 4."""
    controller = site.controllers.get()
    for number in (3, 4):
        valve = factories.ValveFactory(controller=controller, terminal=number)
        factories.ZoneFactory(site=site, valve=valve, number=number)
    draft = SeasonSchedule.objects.create(
        site=site, season_year=2026, revision=1, month=7, week_starts_on=dt.date(2026, 7, 6)
    )
    program = Program.objects.create(schedule=draft, controller=controller, name="A", starts_at=dt.time(5))
    for position, zone in enumerate(site.zones.order_by("number"), start=1):
        program.steps.create(zone=zone, position=position, run_time_min=10)
    return program


def stored(program):
    return [step.zone.number for step in program.steps.select_related("zone").order_by("position", "pk")]


def shown(page):
    return [int(text.split()[0]) for text in page.locator("tr[data-step] .zone-name").all_text_contents()]


def save(page):
    page.locator("p.actions button", has_text="Save").click()
    page.wait_for_url("**/schedules/**")


def middle(locator):
    box = locator.bounding_box()
    return box["x"] + box["width"] / 2, box["y"] + box["height"] / 2


def test_a_step_is_dragged_with_the_mouse(open_as, office, program):
    page = open_as(office)
    page.goto(f"/programs/{program.pk}/edit/")
    handles = page.locator("button.handle")
    handles.nth(3).scroll_into_view_if_needed()
    x, y = middle(handles.nth(0))
    _, below = middle(handles.nth(2))
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x, below + 4, steps=12)
    page.mouse.up()
    assert shown(page) == [2, 3, 1, 4]
    assert "is now number 3 of 4" in page.locator("#step-said").text_content()
    assert stored(program) == [1, 2, 3, 4]  # nothing is stored before Save
    save(page)
    assert stored(program) == [2, 3, 1, 4]


def test_a_step_is_dragged_with_a_finger_on_a_phone(browser, live_server, open_as, office, program):
    page = open_as(office, phone=True)
    page.goto(f"/programs/{program.pk}/edit/")
    page.locator("#steps").evaluate("element => element.scrollIntoView()")
    session = page.context.new_cdp_session(page)
    session.send("Emulation.setTouchEmulationEnabled", {"enabled": True})
    handles = page.locator("button.handle")
    x, y = middle(handles.nth(1))
    _, above = middle(handles.nth(0))

    def touch(kind, at_y=None):
        points = [] if at_y is None else [{"x": x, "y": at_y}]
        session.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})

    touch("touchStart", y)
    for step in range(1, 11):
        touch("touchMove", y + (above - 30 - y) * step / 10)
    touch("touchEnd")
    assert shown(page) == [2, 1, 3, 4]
    save(page)
    assert stored(program) == [2, 1, 3, 4]


def test_a_step_is_moved_with_the_keyboard_alone(open_as, office, program):
    page = open_as(office)
    page.goto(f"/programs/{program.pk}/edit/")
    page.locator("button.handle").nth(3).focus()
    page.keyboard.press("ArrowUp")
    page.keyboard.press("ArrowUp")
    assert shown(page) == [1, 4, 2, 3]
    page.get_by_role("button", name="1 Zone 1 later").focus()
    page.keyboard.press("Enter")
    page.keyboard.press("Space")
    assert shown(page) == [4, 2, 1, 3]
    assert page.url.endswith("/edit/")  # the buttons do not save while there is a script
    page.locator("[name=name]").focus()
    page.keyboard.press("Enter")  # Enter in a field saves, it moves nothing
    page.wait_for_url("**/schedules/**")
    assert stored(program) == [4, 2, 1, 3]


def test_without_a_script_the_arrow_saves_and_moves(browser, live_server, office, program):
    address = live_server.url.replace("127.0.0.1", "localhost")
    context = browser.new_context(java_script_enabled=False, base_url=address)
    page = context.new_page()
    page.goto("/sign-in/")
    page.fill("[name=username]", office.username)
    page.fill("[name=password]", factories.PASSWORD)
    page.click("main button[type=submit]")
    page.goto(f"/programs/{program.pk}/edit/")
    page.fill("[name=steps-0-run_time_min]", "17")
    page.get_by_role("button", name="1 Zone 1 later").click()
    assert shown(page) == [2, 1, 3, 4]
    assert program.steps.get(zone__number=1).run_time_min == 17
    context.close()
