"""Safety texts of the service sheets, by kind of visit.

The air pressure limits are common practice: they are repeated throughout the trade, no standard was found
behind them. The hose safety device is asked for by OSHA 29 CFR 1926.302(b)(7) (from memory).
"""

from reports.documents.service_sheet.data import VisitKind

LAW_AND_TRADES = (
    "Local code, the water supplier's rules and the makers' instructions come before this sheet. Mains "
    "electricity, backflow assembly tests and work on the drinking water supply are for people licensed for "
    "them where you work."
)

AIR = (
    "Eye and hearing protection on. Nobody stands or leans over heads, valves or fittings while air is on.",
    "Pressure at the system no higher than its weakest part allows. Common practice, no standard: polyethylene "
    "pipe 345 kPa (50 psi), PVC pipe 550 kPa (80 psi), drip 207 kPa (30 psi). Start lower; regulator and relief "
    "valve at the compressor outlet.",
    "Never blow through a pump or through the backflow assembly and its test cocks. Close the supply, release "
    "the water pressure, connect downstream of them.",
    "Open a valve before air is applied; one zone at a time, farthest or highest first; short passes, stop at "
    "mist, never on dry pipe.",
    "Hose couplings secured against whipping. Bleed to zero before you disconnect, and never leave the system "
    "pressurised or the compressor unattended.",
)

FILL = (
    "Fill slowly: supply opened about a quarter turn, farthest zone or high point open until the air is out "
    "(common practice: no faster than 0.3 m/s, 1 ft/s, in the main). Fast filling bursts pipe.",
    "Air in the line throws water and parts: keep people away from heads while it leaves.",
    "Bring the backflow assembly up to pressure slowly, upstream valve first.",
)

ELECTRICITY = (
    "Switch off and lock the supply before you open a controller or pump panel. Measure coils with the wires "
    "off the terminals and the power off.",
)

PITS = (
    "Valve boxes, pits and tanks: look for animals, sharp edges and bad air before you reach in. Do not enter a "
    "pit or tank alone or without the confined space precautions of your place of work.",
)

CHEMICALS = (
    "Fertiliser, acid, chlorine and cleaning agents: read the label, wear the protection it asks for, never mix, "
    "never let them reach the drinking water side. No antifreeze in pipes connected to drinking water.",
)

PUMPS = ("Never run a pump dry or against closed valves; keep hands and clothing off shafts and couplings.",)

HEADINGS = {
    VisitKind.STARTUP: "Cautions: slow fill, electricity, pits",
    VisitKind.MID_SEASON: "Cautions: electricity, pits, moving water",
    VisitKind.WINTERISATION: "Cautions: compressed air can maim",
}

POINTS: dict[VisitKind, tuple[str, ...]] = {
    VisitKind.STARTUP: (*FILL, *ELECTRICITY, *PITS, *PUMPS, *CHEMICALS, LAW_AND_TRADES),
    VisitKind.MID_SEASON: (*ELECTRICITY, *PITS, *PUMPS, *CHEMICALS, LAW_AND_TRADES),
    VisitKind.WINTERISATION: (*AIR, *ELECTRICITY, *PITS, *CHEMICALS, LAW_AND_TRADES),
}
