import io
import json
import urllib.request

import pytest
from PIL import Image

from config.served import Served
from jobs.core.checklists import AIR_CONNECTED, WINTERISATION
from tests.browser.phone import Phone, rows

pytestmark = [pytest.mark.browser, pytest.mark.slow]
NUMBER_OF_STEPS = len(WINTERISATION)


@pytest.fixture(scope="module")
def served(browser, tmp_path_factory):
    """A real server with hashed file names, which the live server of the other tests does not have."""
    server = Served(tmp_path_factory.mktemp("served"))
    server.day = server.prepare(static=True, technicians=4, visits=2, valves=3, photos=1)
    server.start()
    yield server
    server.kill()


@pytest.fixture
def make_phone(browser, served, tmp_path):
    made: list[Phone] = []

    def make(session: str) -> Phone:
        made.append(Phone(browser, served, tmp_path / f"phone{len(made)}", session))
        return made[-1]

    yield make
    for phone in made:
        phone.close()
    assert [words for phone in made for words in phone.complaints] == []


def camera_picture() -> bytes:
    """A landscape picture whose EXIF says "turn it upright" and where it was taken."""
    exif = Image.Exif()
    exif[0x0112] = 6
    exif.get_ifd(0x8825)[2] = (47.0, 36.0, 12.0)
    file = io.BytesIO()
    Image.effect_noise((3000, 2000), 40).convert("RGB").save(file, "JPEG", quality=80, exif=exif)
    return file.getvalue()


def not_sent(page) -> str:
    return page.inner_text("#unsent")


def go_to_visit(page, visit) -> None:
    page.click("header .brand")
    page.click(f"h2 a:has-text('{visit['site']}')")
    page.wait_for_selector("#checklist")


def start(page) -> None:
    page.click("button:has-text('Start the visit')")
    page.wait_for_selector("text=Measure Valve 1")


def work_through_checklist(page, *, first: int = 1, last: int = NUMBER_OF_STEPS) -> None:
    done = page.locator("ol.steps li.done")
    for count in range(first, last + 1):
        tick = page.locator("ol.steps button[aria-label^='Done: ']")
        if tick.count():
            tick.first.click()
        elif page.locator(".own input[type=radio]").count():
            page.click(".own label:has-text('polyethylene')")
            page.click(".own button")
        else:
            page.fill(".own input[inputmode=decimal]", "300")
            page.check(".own input[type=checkbox]")
            page.click(".own button")
        page.wait_for_function("count => document.querySelectorAll('ol.steps li.done').length === count", arg=count)
    assert done.count() == last


def measure(page, ohm: str) -> None:
    page.fill("#field-coil_resistance_ohm", ohm)
    page.click("[data-field=opens] label:has-text('yes')")
    page.click("[data-field=closes] label:has-text('yes')")
    page.click("form.measure button.wide")


def measure_all(page) -> None:
    page.click("text=Measure Valve 1")
    for number in (1, 2, 3):
        page.wait_for_selector(f"h1:has-text('Valve {number}')")
        if number == 1:
            page.fill("#field-air_pressure_kpa", "160")
            page.fill("#field-air_min", "3")
        measure(page, "34.4")
    page.wait_for_selector("#checklist")


def record_fault(page) -> None:
    page.click("a:has-text('Record a fault')")
    page.select_option("#field-kind", "pipe_leak")
    page.click("label:has-text('water loss')")
    page.fill("#field-description", "Fitting drips behind the box")
    page.set_input_files("#camera", {"name": "leak.jpg", "mimeType": "image/jpeg", "buffer": camera_picture()})
    page.wait_for_selector(".photos img")
    page.dblclick("button:has-text('Keep this fault')")
    page.wait_for_timeout(500)  # a hand's pace: what follows at once at the same place counts as a tremble
    page.wait_for_selector("#checklist")


def finish(page) -> None:
    page.click("a:has-text('Finish the visit')")
    page.fill("#field-signed_by", "H. Court")
    page.dblclick("button:has-text('Finish the visit')")
    page.wait_for_selector("#take")
    assert page.url.endswith("/field/#")


def test_a_whole_winterisation_without_signal_from_a_cold_start_arrives_just_once(make_phone, served):
    person = served.day["people"][0]
    visit = person["visits"][0]
    phone = make_phone(person["session"])
    phone.take_along()
    phone.close()

    page = phone.open(offline=True)
    assert page.evaluate("fetch('/healthz').then(() => true, () => false)") is False
    go_to_visit(page, visit)
    assert "Compressed air maims" in page.inner_text("details:has-text('Cautions')")
    assert page.locator("details:has-text('Photos of the site') img").count() == 1
    page.click("summary:has-text('Drawings (2)')")
    drawn = "images => images.map(image => image.complete && image.naturalWidth > 0)"
    assert page.locator(".drawings img").evaluate_all(drawn) == [True, True]
    page.click("summary:has-text('Drawings (2)')")
    start(page)
    with_air_on = 1 + next(number for number, step in enumerate(WINTERISATION) if step.key == AIR_CONNECTED)
    work_through_checklist(page, last=with_air_on)
    page.click("a:has-text('Finish the visit')")
    page.wait_for_selector("[role=alert]:has-text('Bleed it to zero')")
    assert page.locator("#field-signed_by").count() == 0
    page.click("text=Back to the checklist")
    page.wait_for_selector("#checklist")
    work_through_checklist(page, first=with_air_on + 1)
    measure_all(page)
    record_fault(page)
    finish(page)
    expected = 1 + NUMBER_OF_STEPS + 3 + 1 + 1 + 1  # start, steps, valves, fault, its photo, end
    assert not_sent(page) == f"{expected} not sent"
    assert "finished" in page.inner_text(f".stop:has-text('{visit['site']}')")
    assert rows(served, "SELECT count(*) FROM jobs_inboxrecord")[0][0] == 0

    phone.context.set_offline(False)
    page.wait_for_selector("#unsent:has-text('All sent')")

    found = rows(served, "SELECT kind, state, count(*) FROM jobs_inboxrecord GROUP BY kind, state")
    assert sorted(found) == [
        ("checklist_answer", "applied", NUMBER_OF_STEPS),
        ("fault", "applied", 1),
        ("measurement", "applied", 3),
        ("visit_finished", "applied", 1),
        ("visit_started", "applied", 1),
    ]
    state, signed = rows(served, "SELECT state, signed_by FROM jobs_visit WHERE id = ?", visit["pk"])[0]
    assert (state, signed) == ("finished", "H. Court")
    air = "SELECT count(*), count(air_min), max(air_pressure_kpa) FROM jobs_valvemeasurement WHERE visit_id = ?"
    assert rows(served, air, visit["pk"]) == [(3, 1, 160.0)]
    [(path,)] = rows(
        served,
        "SELECT p.image FROM sites_photo p JOIN jobs_fault_photos fp ON fp.photo_id = p.id JOIN jobs_fault f"
        " ON f.id = fp.fault_id WHERE f.found_on_visit_id = ?",
        visit["pk"],
    )
    with Image.open(served.data_dir / "media" / path) as picture:
        assert picture.size == (1067, 1600)  # upright
        assert dict(picture.getexif()) == {}


def test_a_browser_killed_in_the_middle_of_an_entry_loses_no_keystroke(make_phone, served):
    person = served.day["people"][1]
    visit = person["visits"][0]
    phone = make_phone(person["session"])
    phone.take_along()
    phone.close()
    page = phone.open(offline=True)
    go_to_visit(page, visit)
    start(page)
    page.click("text=Measure Valve 1")
    page.wait_for_selector("#field-coil_resistance_ohm")
    page.type("#field-coil_resistance_ohm", "33.7", delay=40)
    page.type("#field-note", "lid cracked", delay=40)
    page.wait_for_timeout(150)
    phone.kill()

    page = phone.open(offline=True, path=f"/field/#visit/{visit['uuid']}/valve/{visit['valves'][0]}")
    page.wait_for_selector("#field-note")
    assert page.input_value("#field-coil_resistance_ohm") == "33.7"
    assert page.input_value("#field-note") == "lid cracked"
    assert not_sent(page) == "1 not sent"  # the start, pressed before
    assert "Within 15 % of the coil as new" in page.inner_text("form.measure")


def test_an_expired_session_keeps_everything_until_the_next_sign_in(make_phone, served):
    person = served.day["people"][1]
    visit = person["visits"][1]
    phone = make_phone(person["session"])
    page = phone.take_along()
    phone.context.clear_cookies()
    go_to_visit(page, visit)
    start(page)
    page.wait_for_selector("#sign-in:not([hidden])")
    assert not_sent(page) == "1 not sent"

    phone.sign_in()  # what the sign-in page would do
    page.click("header .waits")
    page.click("button:has-text('Send now')")
    page.wait_for_selector("#unsent:has-text('All sent')")
    assert rows(served, "SELECT state FROM jobs_visit WHERE id = ?", visit["pk"]) == [("started",)]


def test_undo_brings_back_what_was_typed(make_phone, served):
    person = served.day["people"][2]
    phone = make_phone(person["session"])
    phone.take_along()
    phone.context.set_offline(True)
    page = phone.page
    go_to_visit(page, person["visits"][0])
    start(page)
    page.click("text=Measure Valve 1")
    page.wait_for_selector("#field-coil_resistance_ohm")
    measure(page, "3,44")
    page.wait_for_selector("h1:has-text('Valve 2')")
    page.click("#undo button")
    page.wait_for_selector("h1:has-text('Valve 1')")
    assert page.input_value("#field-coil_resistance_ohm") == "3,44"
    page.fill("#field-coil_resistance_ohm", "1,000")
    page.click("form.measure button.wide")
    assert "Enter a number" in page.inner_text("[data-field=coil_resistance_ohm] .error")
    assert page.input_value("#field-coil_resistance_ohm") == "1,000"


def test_two_phones_on_one_visit_lose_nothing_and_the_office_decides(make_phone, served):
    person = served.day["people"][3]
    visit = person["visits"][0]
    phones = [make_phone(person["session"]) for _ in range(2)]
    for phone in phones:
        phone.take_along()
        phone.context.set_offline(True)
        go_to_visit(phone.page, visit)
        start(phone.page)
        phone.page.click("text=Measure Valve 1")
        phone.page.wait_for_selector("#field-coil_resistance_ohm")
    for phone, ohm in zip(phones, ("33", "90"), strict=True):
        measure(phone.page, ohm)
        phone.page.wait_for_selector("h1:has-text('Valve 2')")
        phone.context.set_offline(False)
        phone.page.wait_for_selector("#unsent:has-text('All sent')")

    measured = rows(served, "SELECT coil_resistance_ohm FROM jobs_valvemeasurement WHERE visit_id = ?", visit["pk"])
    kept = rows(
        served, "SELECT body, state FROM jobs_inboxrecord WHERE kind = 'measurement' AND visit_id = ?", visit["pk"]
    )
    assert measured == [(33.0,)]
    assert sorted((json.loads(body)["data"]["coil_resistance_ohm"], state) for body, state in kept) == [
        (33, "applied"),
        (90, "for_person"),
    ]
    phones[1].page.click("header .waits")
    phones[1].page.wait_for_selector("text=The office decides")


def test_what_waits_can_be_taken_out_as_a_file_and_signing_out_warns(make_phone, served):
    person = served.day["people"][3]
    phone = make_phone(person["session"])
    phone.take_along()
    phone.context.set_offline(True)
    page = phone.page
    go_to_visit(page, person["visits"][1])
    start(page)
    page.click("header .waits")
    with page.expect_download() as download:
        page.click("#export")
    parcel = json.loads(download.value.path().read_text())
    assert parcel["user"]["id"] == person["id"]
    assert [record["body"]["kind"] for record in parcel["records"]] == ["visit_started"]
    page.click("button:has-text('Sign out')")
    assert "1 not sent" in page.inner_text("#screen [role=alert]")


def test_a_browser_that_keeps_nothing_says_so_plainly(browser, served):
    context = browser.new_context(viewport={"width": 390, "height": 844})
    session = served.day["people"][2]["session"]
    context.add_cookies([{"name": "sessionid", "value": session, "url": served.url}])
    page = context.new_page()
    page.add_init_script("Object.defineProperty(window, 'indexedDB', {value: {open() { throw new Error('no'); }}})")
    page.goto(f"{served.url}/field/")
    page.wait_for_selector("#storage:not([hidden])")
    assert "What you type is NOT kept" in page.inner_text("#storage")
    context.close()


def test_the_page_s_files_are_all_there_and_carry_their_content_in_their_names(served):
    with urllib.request.urlopen(f"{served.url}/field/worker.js") as answer:
        assert "no-store" in answer.headers["Cache-Control"]
        head = answer.read().decode().splitlines()[0]
    files = json.loads(head.removeprefix("self.RILLBOOK = ").rstrip(";"))["files"]
    scripts = [name for name in files if name.endswith(".js")]
    assert len(scripts) == 11
    assert all(name.count(".") == 2 for name in scripts), "a name without its hash"
    for name in files[1:]:  # the first is the page itself, which needs a sign-in
        with urllib.request.urlopen(served.url + name) as answer:
            assert answer.status == 200


# What a thumb must hit; boxes and radio buttons are hit by their labels.
SMALL_TARGETS = """() => [...document.querySelectorAll(
    "main a, main button, main input:not([type=checkbox]):not([type=radio]), main select, header a")]
    .filter((each) => each.checkVisibility())
    .map((each) => [each.textContent.trim(), each.getBoundingClientRect().height])
    .filter(([, height]) => height < 44)"""


def test_every_screen_is_accessible_and_fits_a_phone(make_phone, served):
    from axe_playwright_python.sync_playwright import Axe

    visit = served.day["people"][2]["visits"][1]
    phone = make_phone(served.day["people"][2]["session"])
    page = phone.take_along()
    page.context.set_offline(True)
    go_to_visit(page, visit)
    start(page)
    here = f"#visit/{visit['uuid']}"
    for place in ("", "#sent", here, f"{here}/valve/{visit['valves'][0]}", f"{here}/fault", f"{here}/finish"):
        page.evaluate("place => { location.hash = place; }", place)
        page.wait_for_function("place => document.documentElement.dataset.ready === (place || '#')", arg=place)
        if "valve" in place:
            page.fill("#field-coil_resistance_ohm", "70")
        found = Axe().run(page).response["violations"]
        grave = [one for one in found if one["impact"] in ("serious", "critical")]
        assert [(place, one["id"], one["nodes"][0]["html"][:200]) for one in grave] == []
        assert (place, page.evaluate("document.documentElement.scrollWidth")) == (place, 390)
        assert (place, page.evaluate(SMALL_TARGETS)) == (place, [])
