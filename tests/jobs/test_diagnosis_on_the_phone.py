"""The page's interpreter of the rule table says word for word what the server says, over the whole grid of inputs."""

import html
import itertools
import json
import shutil
import subprocess
from dataclasses import asdict, replace
from pathlib import Path

import pytest

from jobs.core.diagnosis import ValveBaseline, ValveReading, diagnose
from jobs.queries.field_bundle import phone_rules

SCRIPT = Path(__file__).resolve().parents[2] / "jobs" / "static" / "jobs" / "field" / "diagnosis.js"

BASELINES = [
    ValveBaseline(output=output, coil_resistance_ohm=coil, wire_length_m=length, wire_section_mm2=section,
                  common_section_mm2=common, holding_va=va, flow_l_min=flow, pressure_kpa=pressure)
    for output, (coil, length, section, common, va, flow, pressure) in itertools.product(
        ("ac24", "dc24", "latching"),
        [
            (None, None, None, None, None, None, None),
            (34.0, None, 0.823, None, 5.75, 20.0, None),
            (34.0, 80.0, 0.823, None, None, None, 300.0),
            (5.5, 120.5, 1.5, 2.5, 7.2, 33.3, 250.0),
        ],
    )
]  # fmt: skip
BASELINES += [replace(BASELINES[3], source_v=26.5, source_measured=True)]
RESISTANCES = [None, 0.0, 1.25, 2.9, 4.0, 9.75, 11.9, 17.0, 22.1, 28.9, 34.0, 39.1, 44.2, 60.0, 199.9, 204.25, 260.0]
ELECTRIC = [(None, None), (0.0, 0.0), (18.95, 0.125), (19.0, 0.24), (22.25, None), (30.0, 0.375), (24.0, 0.5)]
WATER = [(None, None), (0.0, 0.0), (15.9, 180.5), (17.0, 240.0), (20.25, 250.0), (22.5, 300.0), (99.0, 900.0)]
READINGS = [
    ValveReading(resistance_ohm=ohm, over_range=over, at_coil=at_coil, temperature_c=temperature)
    for ohm in RESISTANCES
    for over in (False, True)
    for at_coil in (False, True)
    for temperature in (None, -12.5, -0.4, 0.5, 20.0, 37.8)
] + [
    ValveReading(resistance_ohm=ohm, voltage_v=volts, current_a=amps, flow_l_min=flow, pressure_kpa=kpa,
                 opens=opens, closes=closes, temperature_c=temperature)
    for ohm in (None, 34.0, 300.0)
    for volts, amps in ELECTRIC
    for flow, kpa in WATER
    for opens, closes in (("", ""), ("yes", "yes"), ("no", ""), ("yes", "no"), ("yes", "weeps"), ("no", "weeps"))
    for temperature in (None, 31.5)
]  # fmt: skip

DRIVER = """
const fs = require("fs");
eval(fs.readFileSync(process.argv[1], "utf8"));
const { rules, cases } = JSON.parse(fs.readFileSync(0, "utf8"));
const told = cases.map(([reading, baseline]) => globalThis.Diagnosis.diagnose(rules, reading, baseline));
process.stdout.write(JSON.stringify(told));
"""


def on_node(rules, cases):
    command = [shutil.which("node"), "-e", DRIVER, str(SCRIPT)]
    given = json.dumps({"rules": rules, "cases": cases})
    return json.loads(subprocess.run(command, input=given, capture_output=True, text=True, check=True).stdout)


PAGE = """<!doctype html><meta charset="utf-8"><script>{script}</script><script>
const told = {cases}.map(([reading, baseline]) => Diagnosis.diagnose({rules}, reading, baseline));
document.write("<pre>"); document.body.firstChild.textContent = JSON.stringify(told);
</script>"""


def on_chromium(rules, cases, tmp_path):
    page = tmp_path / "diagnosis.html"
    filled = {"script": SCRIPT.read_text(), "rules": json.dumps(rules), "cases": json.dumps(cases)}
    text = PAGE
    for name, value in filled.items():
        text = text.replace(f"{{{name}}}", value)
    page.write_text(text)
    command = [shutil.which("chromium"), "--headless", "--no-sandbox", "--disable-gpu", "--dump-dom", str(page)]
    dom = subprocess.run(command, capture_output=True, text=True, check=True).stdout
    return json.loads(html.unescape(dom.partition("<pre>")[2].partition("</pre>")[0]))


@pytest.mark.skipif(not (shutil.which("node") or shutil.which("chromium")), reason="needs node or chromium")
def test_phone_and_server_say_the_same_over_the_whole_grid(tmp_path):
    pairs = list(itertools.product(READINGS, BASELINES))
    rules = json.loads(json.dumps(phone_rules()))
    cases = [[asdict(reading), asdict(baseline)] for reading, baseline in pairs]
    told = on_node(rules, cases) if shutil.which("node") else on_chromium(rules, cases, tmp_path)

    assert len(pairs) > 15_000
    seen = set()
    for (reading, baseline), phone in zip(pairs, told, strict=True):
        server = json.loads(json.dumps([asdict(found) for found in diagnose(reading, baseline)]))
        assert phone == server, (reading, baseline)
        seen |= {found["rule_id"] for found in server}
    # Every row of the table was reached, so that a row only one side knows cannot hide.
    assert seen == {rule["id"] for rule in rules["rules"]}
