"""The field page and its inbox: first load, cold start without signal, a full day's sending, 20 phones at once.

A real server process on this machine; the browser figures need Chromium and Playwright (development requirements).
The slow network is emulated in the browser: 400 ms round trip, 400 kbit/s each way (the usual "slow 3G" of browser
tools, common practice, no source).
"""

import base64
import io
import json
import shutil
import statistics
import tempfile
import threading
import time
import urllib.request
import uuid
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from PIL import Image
from playwright.sync_api import BrowserContext, BrowserType, Page, sync_playwright

from config.served import Served

QUIET = [
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
]  # fmt: skip
CPU_SLOWED = 4
THREE_G = {"offline": False, "latency": 400, "downloadThroughput": 50_000, "uploadThroughput": 50_000}
VISITS, VALVES_EACH, PHOTOS_EACH = 8, 15, 5
PHONES, RECORDS_A_PHONE = 20, 25
TOKEN = "a" * 32


def figure(name: str, value: float, unit: str, n: int, against: str = "") -> dict[str, Any]:
    return {"bench": "field", "name": name, "value": round(value, 1), "unit": unit, "n": n, "against": against}


def run() -> Iterator[dict[str, Any]]:
    if shutil.which("chromium") is None:
        raise OSError("Chromium is not installed")
    with tempfile.TemporaryDirectory() as folder:
        served = Served(Path(folder) / "data")
        served.data_dir.mkdir()
        day = served.prepare(static=True, technicians=PHONES, visits=VISITS, valves=VALVES_EACH)
        served.start()
        try:
            yield from _batch(served, day)
            with sync_playwright() as playwright:
                yield from _in_the_browser(playwright.chromium, served, day, Path(folder) / "profile")
        finally:
            served.kill()


def _open(
    chromium: BrowserType, served: Served, profile: Path, session: str, **more: Any
) -> tuple[BrowserContext, Page]:
    context = chromium.launch_persistent_context(
        str(profile),
        executable_path=shutil.which("chromium"),
        args=QUIET,
        viewport={"width": 390, "height": 844},
        has_touch=True,
        **more,
    )
    context.set_default_timeout(300_000)
    context.add_cookies([{"name": "sessionid", "value": session, "url": served.url}])
    return context, context.pages[0] if context.pages else context.new_page()


def _in_the_browser(chromium: BrowserType, served: Served, day: dict, profile: Path) -> Iterator[dict[str, Any]]:
    person = day["people"][0]
    context, page = _open(chromium, served, profile, person["session"])
    yield figure("first_load_kb", _first_load_bytes(page, served) / 1000, "kB", 1, "at most 150, without photos")
    context.close()
    times = []
    for _ in range(5):
        context, page = _open(chromium, served, profile, person["session"], offline=True)
        times.append(_cold_start_ms(context, page, served))
        context.close()
    yield figure(
        "cold_offline_start_ms", statistics.median(times), "ms", len(times), "at most 1000, CPU slowed 4 times"
    )
    context, page = _open(chromium, served, profile, person["session"], offline=True)
    page.goto(f"{served.url}/field/")
    page.wait_for_selector("h2 a")
    yield from _normal_valves(page, person["visits"][0])
    _enter_day(page, person)
    yield from _send_day(context, page)
    context.close()


def _first_load_bytes(page: Page, served: Served) -> int:
    """All that is sent until the day is kept and the worker stands, as sent (compressed), headers too."""
    session = page.context.new_cdp_session(page)
    session.send("Network.enable")
    sizes: list[float] = []
    session.on("Network.loadingFinished", lambda event: sizes.append(event["encodedDataLength"]))
    page.goto(f"{served.url}/field/")
    page.wait_for_selector("text=The day is on this phone")
    page.evaluate("navigator.serviceWorker.ready.then(() => true)")
    page.wait_for_function("() => navigator.serviceWorker.controller !== null")
    return round(sum(sizes))


def _cold_start_ms(context: BrowserContext, page: Page, served: Served) -> float:
    """From the address to a day list that answers to a finger."""
    session = context.new_cdp_session(page)
    session.send("Emulation.setCPUThrottlingRate", {"rate": CPU_SLOWED})
    page.goto(f"{served.url}/field/", wait_until="commit")
    page.wait_for_selector("h2 a")
    page.wait_for_function("() => performance.getEntriesByName('usable').length > 0")
    return page.evaluate("performance.getEntriesByName('usable')[0].startTime")


def _normal_valves(page: Page, visit: dict) -> Iterator[dict[str, Any]]:
    """A valve in order: resistance on the number pad, opens, closes, on to the next. Taps and seconds."""
    page.click(f"h2 a:has-text('{visit['site']}')")
    page.click("button:has-text('Start the visit')")
    page.click("a:has-text('Measure Valve 1')")
    seconds, taps, keys = [], [], 0
    for number in range(1, VALVES_EACH):
        page.wait_for_selector(f"h1:has-text('Valve {number}')")
        page.wait_for_function("() => document.activeElement.id === 'field-coil_resistance_ohm'")
        begun, count = time.perf_counter(), 0
        for key in "34.5":
            page.keyboard.press(key)
            keys += 1
        for target in (
            "[data-field=opens] label >> nth=0",
            "[data-field=closes] label >> nth=0",
            "form.measure button.wide",
        ):
            page.tap(target)
            count += 1
        page.wait_for_selector(f"h1:has-text('Valve {number + 1}')")
        seconds.append(time.perf_counter() - begun)
        taps.append(count)
    n = len(taps)
    yield figure("normal_valve_taps", statistics.median(taps), "taps", n, f"and {keys // n} keys for the resistance")
    yield figure(
        "normal_valve_s", statistics.median(seconds), "s", n, "the script's pace: the page's own time, not a hand's"
    )


ENTER = """async ({visits, photos, bytes}) => {
  const picture = Uint8Array.from(atob(bytes), (letter) => letter.charCodeAt(0)).buffer;
  for (const visit of visits) {
    const seen = Field.bundle.visits.find((each) => each.uuid === visit.uuid);
    if (seen.state === "planned") await Field.add("visit_started", visit.uuid, {}, null, null);
    for (const valve of visit.valves) {
      if (Field.view(seen).valves.find((each) => each.pk === valve).measured.length) continue;
      await Field.add("measurement", visit.uuid, {valve, seen: [], coil_resistance_ohm: 34.5, voltage_v: 24.1, opens: "yes", closes: "yes"}, null, null);
    }
    for (let n = 0; n < photos; n += 1) {
      const id = crypto.randomUUID();
      await Store.put("photos", {id, record: null, user: Field.person.id, bytes: picture, taken_at: new Date().toISOString(), state: "ready", reason: ""});
      await Field.add("fault", visit.uuid, {kind: "pipe_leak", severity: "water_loss", place: "", description: "", part_needed: "", repair_note: "", photos: [id]}, null, null);
    }
  }
}"""  # noqa: E501


def _enter_day(page: Page, person: dict) -> None:
    """The rest of the day through the page's own store: 120 valves and 40 photos in all."""
    given = {"visits": person["visits"], "photos": PHOTOS_EACH, "bytes": base64.b64encode(_photo()).decode()}
    page.evaluate(ENTER, given)


def _photo() -> bytes:
    """As the page makes them from a camera: 1600 px, some 200 kB."""
    file = io.BytesIO()
    Image.effect_noise((400, 300), 30).convert("RGB").resize((1600, 1200)).save(file, "JPEG", quality=82)
    return file.getvalue()


def _send_day(context: BrowserContext, page: Page) -> Iterator[dict[str, Any]]:
    counted = int(page.inner_text("#unsent").split()[0])
    kilobytes = VISITS * PHOTOS_EACH * len(_photo()) // 1000
    session = context.new_cdp_session(page)
    session.send("Network.enable")
    session.send("Network.emulateNetworkConditions", THREE_G)
    begun = time.perf_counter()
    context.set_offline(False)
    session.send("Network.emulateNetworkConditions", THREE_G)
    page.evaluate("Field.sendNow()")
    page.wait_for_selector("#unsent:has-text('All sent')", timeout=1_200_000)
    photos = f"{VISITS * PHOTOS_EACH} photos of together {kilobytes} kB"
    words = f"{VISITS} visits, {VISITS * VALVES_EACH} valves, {photos}, slow 3G"
    yield figure("full_day_sync_seconds", time.perf_counter() - begun, "s", counted, words)


def _batch(served: Served, day: dict) -> Iterator[dict[str, Any]]:
    """20 phones at once, each sending records one after the other, as the page does."""
    times: list[float] = []
    threads = [
        threading.Thread(target=_one_phone, args=(served, person, times.append)) for person in day["people"][:PHONES]
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    times.sort()
    if len(times) != PHONES * RECORDS_A_PHONE:
        raise OSError(f"only {len(times)} records were taken in")
    words = f"one record, {PHONES} phones at once"
    yield figure("batch_p95_ms", times[int(0.95 * len(times))], "ms", len(times), words)
    yield figure("batch_p50_ms", statistics.median(times), "ms", len(times), words)


def _one_phone(served: Served, person: dict, keep: Callable[[float], None]) -> None:
    visit, device = person["visits"][-1], str(uuid.uuid4())
    for sequence in range(1, RECORDS_A_PHONE + 1):
        kind, data = "visit_started", {}
        if sequence > 1:
            valve = visit["valves"][sequence % len(visit["valves"])]
            kind, data = "measurement", {"valve": valve, "coil_resistance_ohm": 34.5, "opens": "yes", "closes": "yes"}
        body = {
            "schema": 1, "device": device, "sequence": sequence, "kind": kind, "visit": visit["uuid"],
            "recorded_at": datetime.now(UTC).isoformat(), "data": data,
        }  # fmt: skip
        request = urllib.request.Request(  # noqa: S310 - localhost
            f"{served.url}/field/records/{uuid.uuid4()}",
            json.dumps(body).encode(),
            {
                "Content-Type": "application/json",
                "Cookie": f"sessionid={person['session']}; csrftoken={TOKEN}",
                "X-CSRFToken": TOKEN,
            },
            method="PUT",
        )
        begun = time.perf_counter()
        with urllib.request.urlopen(request, timeout=60) as answer:  # noqa: S310
            answer.read()
        keep((time.perf_counter() - begun) * 1000)
