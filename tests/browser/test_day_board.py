"""Stops of the day board are dragged by mouse and finger, moved by keys, and go back where the server refuses."""

import pytest

from jobs.actions.planning import pin, plan_day
from jobs.models import Absence, Visit
from tests import factories
from tests.browser.test_reorder import middle
from tests.jobs.planning_rows import make_visits, monday_ahead, planned

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def rows(office, technician, other_technician):
    """Three stops of Tess, which are A, B and C, and one of Tom, D."""
    made = make_visits(4)
    for n, visit in enumerate(made):
        planned(visit, technician if n < 3 else other_technician, monday_ahead(), position=n % 3 + 1)
        visit.site.name = f"Place {'ABCD'[n]}"
        visit.site.save()
    plan_day(date=monday_ahead(), by=office)
    for n, visit in enumerate(made):  # as they were made, whatever is best
        Visit.objects.filter(pk=visit.pk).update(position=n % 3 + 1)
    return made


def board(page):
    page.goto(f"/days/?date={monday_ahead()}")
    page.wait_for_selector(".ground .sign")


def shown(page, technician) -> str:
    names = page.locator(f"#t{technician.pk} li[data-visit]").evaluate_all("rows => rows.map(r => r.dataset.name)")
    return "".join(name[-1] for name in names)


def stored(technician) -> str:
    rows = Visit.objects.filter(technician=technician).select_related("site").order_by("position")
    return "".join(visit.site.name[-1] for visit in rows)


def handle(page, visit):
    return page.locator(f"#v{visit.pk} .handle")


def drag(page, visit, to_y) -> None:
    x, y = middle(handle(page, visit))
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x, to_y, steps=8)
    page.mouse.up()


def below(page, visit) -> float:
    box = page.locator(f"#v{visit.pk}").bounding_box()
    return box["y"] + box["height"] - 4


def said(page, technician, words) -> None:
    page.locator(f"#t{technician.pk} .said", has_text=words).wait_for()


def no_reload(page) -> None:
    page.evaluate("window.loadedOnce = true")


def is_same_load(page) -> bool:
    return page.evaluate("window.loadedOnce === true")


def test_a_stop_is_dragged_with_the_mouse_and_times_and_map_follow(open_as, office, technician, rows):
    page = open_as(office)
    board(page)
    no_reload(page)
    first_begin = page.locator(f"#v{rows[0].pk} .time").inner_text()
    handle(page, rows[2]).scroll_into_view_if_needed()
    drag(page, rows[0], below(page, rows[2]))
    said(page, technician, "Place A is now number 3")
    assert (shown(page, technician), stored(technician)) == ("BCA", "BCA")
    assert page.locator(f"#v{rows[0].pk} .time").inner_text() != first_begin
    assert [page.locator(f"#v{v.pk} .no").inner_text() for v in rows[:3]] == ["3", "1", "2"]
    page.wait_for_function(f"() => document.querySelectorAll('#t{technician.pk} .ground .sign').length === 4")
    assert page.locator(f"#t{technician.pk} .ground .sign[title*='Place A']").inner_text() == "3"
    drag(page, rows[0], below(page, rows[1]) - 30)  # the handles of a fresh card drag too
    said(page, technician, "Place A is now number 2")
    assert stored(technician) == "BAC"
    assert is_same_load(page)


def test_a_stop_is_dragged_to_another_technician(open_as, office, technician, other_technician, rows):
    page = open_as(office)
    page.set_viewport_size({"width": 1280, "height": 2400})  # both days in sight
    board(page)
    no_reload(page)
    drag(page, rows[1], below(page, rows[3]))
    said(page, other_technician, "Place B is now number 2")
    assert (shown(page, technician), shown(page, other_technician)) == ("AC", "DB")
    assert (stored(technician), stored(other_technician)) == ("AC", "DB")
    assert "2 stops" in page.locator(f"#t{technician.pk} .side").inner_text()
    drag(page, rows[0], middle(page.locator(f"#v{rows[3].pk}"))[1] - 30)  # before the first, in a card just replaced
    said(page, other_technician, "Place A is now number 1")
    assert (stored(technician), stored(other_technician)) == ("C", "ADB")
    assert is_same_load(page)


def test_a_day_without_stops_takes_one(open_as, office, technician, other_technician, rows):
    Visit.objects.filter(pk=rows[3].pk).update(state="open", technician=None, planned_on=None)
    page = open_as(office)
    page.set_viewport_size({"width": 1280, "height": 2400})
    board(page)
    drag(page, rows[2], middle(page.locator(f"#t{other_technician.pk}"))[1])
    said(page, other_technician, "Place C is now number 1")
    assert (stored(technician), stored(other_technician)) == ("AB", "C")
    page.wait_for_selector(f"#t{other_technician.pk} .ground .sign")


def test_a_stop_is_dragged_with_a_finger_on_a_phone(open_as, office, technician, rows):
    page = open_as(office, phone=True)
    board(page)
    session = page.context.new_cdp_session(page)
    session.send("Emulation.setTouchEmulationEnabled", {"enabled": True})
    handle(page, rows[1]).evaluate("element => element.scrollIntoView({block: 'center'})")
    x, y = middle(handle(page, rows[1]))
    above = page.locator(f"#v{rows[0].pk}").bounding_box()["y"] + 10

    def touch(kind, at_y=None):
        points = [] if at_y is None else [{"x": x, "y": at_y}]
        session.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})

    touch("touchStart", y)
    for step in range(1, 11):
        touch("touchMove", y + (above - y) * step / 10)
    assert page.locator(".drop-mark").count() == 1
    touch("touchEnd")
    said(page, technician, "Place B is now number 1")
    assert (shown(page, technician), stored(technician)) == ("BAC", "BAC")
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    box = handle(page, rows[0]).bounding_box()
    assert box["width"] >= 44 and box["height"] >= 44


def test_the_arrow_keys_move_a_stop_and_keep_the_focus_while_it_is_stored(open_as, office, technician, rows):
    page = open_as(office)
    board(page)
    handle(page, rows[2]).focus()
    page.keyboard.press("ArrowUp")
    page.keyboard.press("ArrowUp")  # without waiting for the first answer
    page.keyboard.press("ArrowUp")  # at the top already
    said(page, technician, "Place C is now number 1")
    assert (shown(page, technician), stored(technician)) == ("CAB", "CAB")
    page.wait_for_function(f"() => document.activeElement.closest('li')?.id === 'v{rows[2].pk}'")
    page.keyboard.press("ArrowDown")
    said(page, technician, "Place C is now number 2")
    assert stored(technician) == "ACB"


@pytest.mark.parametrize("why", ["promised", "away", "changed since"])
def test_a_refused_stop_goes_back_and_the_card_says_why(open_as, office, technician, other_technician, rows, why):
    if why == "promised":
        pin(visit=rows[1], promised=True, by=office)
    elif why == "away":
        Absence.objects.create(technician=other_technician, starts_on=monday_ahead(), ends_on=monday_ahead())
    page = open_as(office)
    page.set_viewport_size({"width": 1280, "height": 2400})
    board(page)
    if why == "changed since":
        Visit.objects.filter(pk=rows[3].pk).update(technician=technician, position=4)
    words = {"promised": "Withdraw the promise first", "away": "is away. “Move”", "changed since": "has changed"}
    drag(page, rows[1], below(page, rows[3]))
    said(page, other_technician, words[why])
    assert (shown(page, technician), shown(page, other_technician)) == ("ABC", "D")
    assert Visit.objects.get(pk=rows[1].pk).technician == technician
    assert page.locator(".dragged, .drop-mark").count() == 0


def test_without_an_answer_the_list_goes_back_and_says_so(browser, live_server, office, technician, rows):
    # A context of its own: the page complains of the lost connection, which is meant here.
    context = browser.new_context(
        viewport={"width": 1280, "height": 1600}, base_url=live_server.url.replace("127.0.0.1", "localhost")
    )
    page = context.new_page()
    page.goto("/sign-in/")
    page.fill("[name=username]", office.username)
    page.fill("[name=password]", factories.PASSWORD)
    page.click("main button[type=submit]")
    page.wait_for_url(lambda url: "/sign-in/" not in url)
    board(page)
    context.set_offline(True)
    drag(page, rows[0], below(page, rows[2]))
    said(page, technician, "No answer from the server")
    assert (shown(page, technician), stored(technician)) == ("ABC", "ABC")
    context.set_offline(False)
    context.clear_cookies(name="sessionid")
    drag(page, rows[0], below(page, rows[2]))
    said(page, technician, "You are signed out")
    assert (shown(page, technician), stored(technician)) == ("ABC", "ABC")
    context.close()


def test_escape_and_a_drop_at_its_own_place_store_nothing(open_as, office, technician, rows):
    page = open_as(office)
    page.set_viewport_size({"width": 1280, "height": 1600})
    board(page)
    sent = []
    page.on("request", lambda request: sent.append(request.url) if request.method == "POST" else None)
    x, y = middle(handle(page, rows[0]))
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x, below(page, rows[2]), steps=4)
    page.keyboard.press("Escape")
    page.mouse.up()
    assert (shown(page, technician), page.locator(".dragged, .drop-mark").count()) == ("ABC", 0)
    drag(page, rows[1], y + (below(page, rows[1]) - y) / 2)
    assert (shown(page, technician), stored(technician), sent) == ("ABC", "ABC", [])


def test_a_past_day_has_nothing_to_drag(open_as, office, technician, rows):
    page = open_as(office)
    board(page)
    assert page.locator(".handle").count() == 4
    page.goto("/days/?date=2020-01-06")
    assert page.locator(".handle, [data-arrange]").count() == 0


def test_a_stop_is_pinned_and_the_day_ordered_around_it_on_a_phone(open_as, office, technician, rows):
    page = open_as(office, phone=True)
    board(page)
    stop = page.locator(f"#v{rows[1].pk}")
    stop.locator("summary").click()
    stop.locator("input[type=time]").fill("14:00")
    stop.get_by_role("button", name="Promised to the client").click()
    page.wait_for_url(f"**/days/?date={monday_ahead()}#v{rows[1].pk}")
    assert "promised 14:00" in stop.inner_text()
    page.locator(f"#t{technician.pk}").get_by_role("button", name="Plan this route").click()
    page.wait_for_url(f"**#t{technician.pk}")
    assert stop.locator(".time").inner_text().startswith("14:00")
    stop.locator("summary").click()
    stop.get_by_role("button", name="Withdraw the promise").click()
    page.wait_for_url(f"**#v{rows[1].pk}")
    assert "promised" not in page.locator(f"#v{rows[1].pk} .place").inner_text()
