"""The keys by which the register names kinds of plant, each with the words people read."""

SUPPLY_KINDS = {
    "mains": "mains",
    "well": "well with pressure switch",
    "pump": "pump the controller starts",
    "gravity": "gravity or tank",
}
BACKFLOW_KINDS = {
    "reduced_pressure": "reduced pressure assembly",
    "double_check": "double check assembly",
    "pressure_vacuum": "pressure vacuum breaker",
    "atmospheric": "atmospheric vacuum breaker",
}
OUTPUTS = {"ac24": "24 V AC", "dc24": "24 V DC", "latching": "battery, latching coils"}
EMITTERS = {
    "fixed_spray": "fixed spray",
    "rotating_nozzle": "multi-stream rotating nozzle",
    "rotor": "gear or impact rotor",
    "micro_spray": "micro-spray",
    "drip_grid": "in-line drip grid",
    "point_drip": "point-source drip",
    "bubbler": "bubbler",
}
