"""What stands on a site: supply, pump, backflow assembly, controller, valve and zone, field by field."""

from functools import partial

from sites.core.rulebook import choices
from sites.core.rulebook.fields import ABOVE_0, Field, Kind, Rule, Table, Values
from sites.core.units import Quantity

# The rating of common irrigation pipe and valves, and what the largest sites have, well exceeded.
MOST_KPA, MOST_HEAD_M, MOST_FLOW_L_MIN, MOST_PIPE_M, MOST_PIPE_MM = 2500, 1000, 100_000, 50_000, 2000
MOST_FITTING_MM, MOST_TERMINALS, MOST_COIL_OHM, MOST_COIL_VA, MOST_OUTPUT_V = 600, 200, 10_000, 1000, 60
HOUR_S, DAY_S = 3600, 86_400  # beyond it no delay of a real plant, and no week could be planned

text = partial(Field, Kind.TEXT)
choice = partial(Field, Kind.CHOICE)
yes_no = partial(Field, Kind.YES_NO)
date = partial(Field, Kind.DATE, empty=True)
row = partial(Field, Kind.ROW, empty=True)
number = partial(Field, Kind.NUMBER, least=ABOVE_0, empty=True)
pressure = partial(number, quantity=Quantity.PRESSURE, most=MOST_KPA)
flow = partial(number, quantity=Quantity.FLOW, most=MOST_FLOW_L_MIN)
head = partial(number, quantity=Quantity.LENGTH, most=MOST_HEAD_M)
fitting = partial(number, quantity=Quantity.DIAMETER, most=MOST_FITTING_MM)
coil = partial(number, unit="VA", most=MOST_COIL_VA)
location = text("location", longest=200, empty=True)
seconds = partial(Field, Kind.NUMBER, unit="s", least=0, most=HOUR_S)
whole_seconds = partial(Field, Kind.WHOLE, unit="s", least=0)


def less_while_it_flows(supply: Values) -> dict[str, str]:
    static, working = supply["static_pressure_kpa"], supply["working_pressure_kpa"]
    if static is not None and working is not None and working >= static:
        return {"working_pressure_kpa": "Flowing water has less pressure than standing water."}
    return {}


SUPPLY = Table(
    "site",
    (
        text("name", longest=80, default="Supply"),
        choice("kind", choices=choices.SupplyKind, longest=10),
        pressure("static_pressure_kpa", "static pressure"),
        flow("flow_available_l_min", "flow available"),
        pressure("working_pressure_kpa", "pressure at that flow",
            help="Read while the available flow runs, behind meter and backflow assembly."),
        text("shutoff_location", longest=200, empty=True),
    ),
    (Rule(("static_pressure_kpa", "working_pressure_kpa"), less_while_it_flows),),
)  # fmt: skip

CURVE_POINTS = (("curve_flow_1_l_min", "curve_head_1_m"), ("curve_flow_2_l_min", "curve_head_2_m"))
CURVE = ("shutoff_head_m", *CURVE_POINTS[0], *CURVE_POINTS[1])


def whole_curve_that_falls(pump: Values) -> dict[str, str]:
    """A curve is whole or not there, and its head falls with the flow."""
    missing = [name for name in CURVE if pump[name] is None]
    if missing:
        return dict.fromkeys(missing, "A curve needs all three points.") if len(missing) < len(CURVE) else {}
    wrong = {}
    if pump["curve_flow_2_l_min"] <= pump["curve_flow_1_l_min"]:
        wrong["curve_flow_2_l_min"] = "More than the second point's flow."
    if pump["curve_head_1_m"] >= pump["shutoff_head_m"]:
        wrong["curve_head_1_m"] = "Less than the head at no flow."
    if pump["curve_head_2_m"] >= pump["curve_head_1_m"]:
        wrong["curve_head_2_m"] = "Less than the second point's head."
    return wrong


PUMP = Table(
    "supply",
    (
        text("name", longest=80, default="Pump"),
        whole_seconds("prime_delay_s", "prime delay", most=HOUR_S, default=5,
            help="An open valve waits so long for the pump to start."),
        whole_seconds("run_down_s", "run-down", most=HOUR_S, default=2,
            help="It still turns after its stop: a valve stays open for so long."),
        whole_seconds("minimum_run_s", "minimum run", most=DAY_S, default=60),
        whole_seconds("minimum_rest_s", "rest between two runs", most=DAY_S, default=60,
            help="The motor's nameplate overrides the usual 60 s."),
        Field(Kind.WHOLE, "most_starts_per_hour", "most starts an hour", least=1, most=120, default=6),
        number("rated_power_kw", "rated power", Quantity.POWER, most=2000),
        head("shutoff_head_m", "head at no flow",
            help="Three points of the pump's curve, from its data sheet: this one and two with flow."),
        flow("curve_flow_1_l_min", "flow, second point"),
        head("curve_head_1_m", "head, second point"),
        flow("curve_flow_2_l_min", "flow, third point"),
        head("curve_head_2_m", "head, third point", least=0),
        number("efficiency_percent", "efficiency of pump and motor together", unit="%", least=1, most=95,
            help="Where the pump mostly runs. Without it no power is computed."),
        Field(Kind.MONEY, "energy_price_per_kwh", "price of a kWh", least=0, most=999, digits=7, decimals=4,
            empty=True, help="In the firm's currency."),
    ),
    (Rule(CURVE, whole_curve_that_falls),),
)  # fmt: skip


def next_test_after_the_last(assembly: Values) -> dict[str, str]:
    tested, due = assembly["last_tested_on"], assembly["test_due_on"]
    return {"test_due_on": "The next test must lie after the last one."} if tested and due and due <= tested else {}


BACKFLOW = Table(
    "site",
    (
        choice("kind", choices=choices.AssemblyKind, longest=20),
        row("supply", told="This is not a supply of this site."),
        fitting("size_mm", "size"),
        text("serial_number", longest=60, empty=True),
        location,
        date("last_tested_on"),
        date("test_due_on", "next test due"),
    ),
    (Rule(("last_tested_on", "test_due_on"), next_test_after_the_last),),
)  # fmt: skip


def interlocked_opens_one(controller: Values) -> dict[str, str]:
    if controller["one_valve_at_a_time"] and (controller["most_valves_open"] or 1) > 1:
        return {"most_valves_open": "Interlocked outputs open one valve at a time."}
    return {}


CONTROLLER = Table(
    "site",
    (
        text("name", longest=80, default="Controller"),
        location,
        row("supply", told="This is not a supply of this site."),
        Field(Kind.WHOLE, "terminals", "number of terminals", least=1, most=MOST_TERMINALS),
        choice("output", "valve supply", choices=choices.Output, longest=10, default=choices.Output.AC24.value),
        number("transformer_va", "transformer", unit="VA", most=10_000),
        number("output_v", "output voltage", unit="V", most=MOST_OUTPUT_V, help="Measured with one valve open."),
        coil("pump_relay_va", "pump relay load", help="Of the relay's coil."),
        yes_no("one_valve_at_a_time", "one valve at a time (interlocked outputs)", default=True,
            help="Opening one output closes the other by itself."),
        Field(Kind.WHOLE, "most_valves_open", "most zone valves open together", least=1, most=8, default=1,
            help="Above 1 only with separate outputs, and as far as the supply feeds them."),
        choice("colliding_programs", "programs that meet", choices=choices.Collision, longest=6,
            default=choices.Collision.QUEUE.value,
            help="What this controller does with a program whose start falls into another one."),
        seconds("command_delay_bound_s", "command delay bound", default=2.0,
            help="A command takes effect within this time."),
        yes_no("ends_outputs_itself", "ends an output by itself", default=False,
            help="It switches an output off after that output's own longest duration, with no command needed."),
        yes_no("set_by_hand", default=True,
            help="The schedule is typed in at the controller on a visit, not sent to it."),
        yes_no("has_seasonal_percentage", "has one seasonal percentage for all zones", default=True),
    ),
    (Rule(("one_valve_at_a_time", "most_valves_open"), interlocked_opens_one),),
)  # fmt: skip


def shuts_soonest_before_latest(valve: Values) -> dict[str, str]:
    soonest, latest = valve["closes_from_s"], valve["closes_within_s"]
    if soonest is not None and latest is not None and soonest > latest:
        return {"closes_from_s": "Not later than the longest closing time."}
    return {}


VALVE = Table(
    "controller",
    (
        Field(Kind.WHOLE, "terminal", least=1, most=MOST_TERMINALS, empty=True),
        text("name", longest=80),
        yes_no("is_master", "master valve", default=False),
        location,
        fitting("size_mm", "size", repeats=True),
        pressure("pressure_loss_kpa", "pressure lost in the valve", least=0,
            help="At the zone's flow, with filter and regulator if there are any, from their data.", repeats=True),
        number("coil_resistance_ohm", "coil resistance when new", unit="Ω", most=MOST_COIL_OHM,
            help="At 20 °C, at the coil.", repeats=True),
        coil("coil_holding_va", "coil holding load", repeats=True),
        coil("coil_inrush_va", "coil inrush load", help="In the first moments.", repeats=True),
        number("wire_length_m", "wire length one way", Quantity.LENGTH, most=10_000),
        # Field wire for 24 V lies well inside; outside, a gauge was most likely typed as mm² or the reverse.
        number("wire_section_mm2", "wire section", Quantity.WIRE_SECTION, least=0.1, most=35,
            told="Valve wire lies between {least} and {most}. Gauge and mm² mixed up?", repeats=True),
        seconds("opens_within_s", "opens within", default=5.0, repeats=True),
        seconds("closes_from_s", "soonest shut after", default=0.0, help="0 where nobody has timed it.",
            repeats=True),
        seconds("closes_within_s", "closes within", default=15.0, repeats=True),
        date("installed_on", "built in on", help="A guess is better than nothing: faults are told by age.",
            repeats=True),
    ),
    (Rule(("closes_from_s", "closes_within_s"), shuts_soonest_before_latest),),
)  # fmt: skip


def figures_have_an_origin(zone: Values) -> dict[str, str]:
    figures = (zone["application_rate_mm_h"], zone["distribution_uniformity"])
    if zone["figures_origin"] == choices.Origin.UNKNOWN and any(figure is not None for figure in figures):
        return {"figures_origin": "Say where rate and uniformity are from: otherwise they are not used."}
    return {}


ZONE = Table(
    "site",
    (
        Field(Kind.WHOLE, "number", least=0, most=9999),
        text("name", longest=80),
        row("valve", told="This is not a valve of this site."),
        number("area_m2", "area", Quantity.AREA, most=10_000_000, column="Area"),
        choice("planting", choices=choices.Planting, longest=20, column="Planting, soil, exposure", repeats=True),
        choice("soil", choices=choices.SoilTexture, longest=20, empty=True, repeats=True),
        Field(Kind.NUMBER, "slope_percent", "slope", unit="%", least=0, most=100, default=0, repeats=True),
        choice("exposure", choices=choices.Exposure, longest=20, default=choices.Exposure.SUN.value, repeats=True),
        choice("emitter", "emitter class", choices=choices.Emitter, longest=20, column="Emitter", on_sheet=True,
            repeats=True),
        number("application_rate_mm_h", "application rate", Quantity.RATE, most=2000, column="Rate", repeats=True),
        number("distribution_uniformity", "distribution uniformity, low quarter", least=0.05, most=1, decimals=2,
            column="DU", help="0.05 to 1, from a catch-can test.", repeats=True),
        flow("flow_l_min", "flow", column="Flow"),
        choice("figures_origin", "rate, uniformity and flow are", choices=choices.Origin, longest=10,
            default=choices.Origin.DESIGN.value, repeats=True),
        date("measured_on", repeats=True),
        choice("flow_origin", "the flow alone is", choices=choices.Origin, longest=10, empty=True,
            help="Where the flow was not found together with rate and uniformity, as after a catch-can test."),
        number("pipe_length_m", "pipe to the farthest head", Quantity.LENGTH, most=MOST_PIPE_M,
            help="From the supply or the pump, main and lateral together."),
        number("pipe_inside_mm", "inside diameter of that pipe", Quantity.DIAMETER, most=MOST_PIPE_MM,
            help="Where it is narrowest; nominal sizes mislead.", repeats=True),
        choice("pipe_material", "pipe", choices=choices.PipeMaterial, longest=12, empty=True, repeats=True),
        number("head_rise_m", "height of the heads above the supply", Quantity.LENGTH, least=-300, most=300,
            help="At a pump above the water's surface; negative where they lie lower.", repeats=True),
        pressure("head_pressure_kpa", "design pressure at the head",
            help="The pressure at which the flow above holds, from the nozzle's data.", repeats=True),
        number("root_depth_m", "root depth", Quantity.LENGTH, least=0.02, most=3, repeats=True),
        date("planted_on", help="New planting gets more water for its first season."),
        yes_no("in_use", default=True),
    ),
    (Rule(("application_rate_mm_h", "distribution_uniformity", "figures_origin"), figures_have_an_origin),),
)  # fmt: skip
