"""The usual caution for each act of irrigation work that can hurt somebody or wreck a system, said once.

Every test, step, card, sheet and mail that tells a person to do such an act carries its words. They are common
practice and defer to local codes, makers' instructions and licensed trades.
"""

from enum import StrEnum

from sites.core.sources import NEC_TABLE_11_WET


class Act(StrEnum):
    LIVE_24V = "a live measurement on the 24 V side"
    WIRES = "wires touched, taken off or cut"
    MAINS = "the mains side"
    WATER = "a part under water pressure taken apart"
    RUNNING = "water run"
    SHUT = "a valve shut off"
    PUMP = "a pump run"
    FILL = "empty pipe filled"
    AIR = "compressed air"
    AIR_PRESSURE = "the pressure of the air set"
    DIG = "the ground opened"
    BOX = "a valve box reached into"
    PIT = "a pit or tank entered"
    CHEMICALS = "fertilizer and cleaning agents"
    CEMENT = "plastic pipe glued"
    RECLAIMED = "reclaimed water"


CARE: dict[Act, str] = {
    Act.LIVE_24V: (
        "Live test: on the 24 V side only, by somebody trained for it; mains covers stay on. Where mains parts lie "
        "open, leave it to a licensed electrician."
    ),
    Act.WIRES: "Switch the controller off and isolate its supply before wires are touched, taken off or cut.",
    Act.MAINS: "The mains side of a controller, transformer or pump is a licensed electrician's work.",
    Act.WATER: (
        "Before a valve, filter or pipe is taken apart: pump off and isolated, isolating valve shut, pressure let "
        "off until nothing runs; local codes apply."
    ),
    Act.RUNNING: (
        "Keep people and animals away from the heads while water runs; keep out of water that stands near a "
        "controller, pump or cable."
    ),
    Act.SHUT: (
        "Shut only a valve that serves the irrigation alone: it must not cut off a building or a fire line. Switch a "
        "pump that feeds it off first."
    ),
    Act.PUMP: (
        "Never run a pump dry or against closed valves: it goes off before the last valve shuts. Isolate it before "
        "you touch shaft or coupling; keep hands and clothing off them."
    ),
    Act.FILL: (
        "Fill slowly, supply about a quarter open, until the air is out; fast water breaks pipe (common practice: at "
        "most 0.3 m/s, 1 ft/s). Keep people and animals away from the heads while air leaves."
    ),
    Act.AIR: (
        "Compressed air maims. Eye and hearing protection on; people and animals off the lawn and the beds; nobody "
        "over heads, valves or fittings while air is on."
    ),
    Act.AIR_PRESSURE: (
        "Air no higher than the weakest part takes: PE pipe 345 kPa (50 psi), PVC 550 kPa (80 psi), drip 207 kPa "
        "(30 psi), common practice, no standard; a lower marking on any part comes first. Start lower."
    ),
    Act.DIG: (
        "Before you dig: buried gas, power, water and telecom lines located and marked by the service for it where "
        "you work, private ones asked for; dig by hand beside them. Nobody steps into a trench whose sides are not "
        "sloped or held as local rules ask."
    ),
    Act.BOX: "Look before you reach into a box: animals, glass, bad air.",
    Act.PIT: "Never climb into a pit or tank alone or without your firm's confined space procedure: bad air kills.",
    Act.CHEMICALS: (
        "Fertilizer, injectors and cleaning agents: read the label, wear what it asks for, mix nothing, keep them "
        "off the drinking water side. Shut and flush an injector before its line is opened or blown out. No "
        "antifreeze in pipes that touch drinking water."
    ),
    Act.CEMENT: (
        "Primer and solvent cement: read the label; fresh air, gloves and eye protection, no flame or spark. No "
        "pressure on a joint before the label's curing time, and never test it with air."
    ),
    Act.RECLAIMED: (
        "Reclaimed or pond water can carry germs: gloves, no spray in the face, wash hands before you eat or smoke. "
        "Never join it to drinking water pipes."
    ),
}

LOCAL_RULES = (
    "Local codes, the water supplier's rules and the makers' instructions come before this page. Mains power, "
    "backflow tests and work on drinking water pipes are for people licensed for them where you work."
)
CABINET = (
    "Mains parts are live behind the cover: switch off and lock the supply first. The mains side is a licensed "
    "electrician's work; local codes apply."
)
WET_CLASS_2 = (
    "For the electrician: valve boxes are wet. Under the US code Class 2 circuits above 15 V AC need Class 3 wiring "
    f"methods where wet contact is likely ({NEC_TABLE_11_WET}); elsewhere the local code decides."
)
BY_HAND = (
    "Switched by hand these times are a guide, not a proof: the margins hold for a controller that sends each "
    "command on the second. Keep the sequence whatever the clock says: a valve open before the pump starts, the next "
    "valve open before the last one shuts, the pump off before the last valve shuts."
)


def care(*acts: Act) -> str:
    """The cautions of these acts as one text."""
    return " ".join(CARE[act] for act in acts)
