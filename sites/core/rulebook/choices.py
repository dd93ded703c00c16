"""The words a field of the register may take. The stored word never changes; its label may."""

from sites.core.rulebook.fields import Words


class SupplyKind(Words):
    MAINS = "mains", "mains"
    WELL = "well", "well with pressure switch"
    PUMP = "pump", "pump the controller starts"
    GRAVITY = "gravity", "gravity or tank"


class AssemblyKind(Words):
    REDUCED_PRESSURE = "reduced_pressure", "reduced pressure assembly"
    DOUBLE_CHECK = "double_check", "double check assembly"
    PRESSURE_VACUUM = "pressure_vacuum", "pressure vacuum breaker"
    ATMOSPHERIC = "atmospheric", "atmospheric vacuum breaker"


class Output(Words):
    AC24 = "ac24", "24 V AC"
    DC24 = "dc24", "24 V DC"
    LATCHING = "latching", "battery, latching coils"


class Collision(Words):
    QUEUE = "queue", "wait for each other: the smaller priority number goes first"
    REFUSE = "refuse", "do not run: a start that falls into another program is dropped"


class Planting(Words):
    COOL_TURF = "cool_turf", "cool-season turf"
    WARM_TURF = "warm_turf", "warm-season turf"
    SPORTS_TURF = "sports_turf", "sports turf"
    ANNUALS = "annuals", "annual flowers"
    PERENNIALS = "perennials", "perennials and ground cover"
    SHRUBS = "shrubs", "shrubs"
    TREES = "trees", "trees"
    DROUGHT_TOLERANT = "drought_tolerant", "drought-tolerant planting"
    VEGETABLES = "vegetables", "vegetables"


class SoilTexture(Words):
    CLAY = "clay", "clay"
    SILTY_CLAY = "silty_clay", "silty clay"
    CLAY_LOAM = "clay_loam", "clay loam"
    LOAM = "loam", "loam"
    SANDY_LOAM = "sandy_loam", "sandy loam"
    LOAMY_SAND = "loamy_sand", "loamy sand"
    SAND = "sand", "sand"


class Exposure(Words):
    SHADE = "shade", "shade"
    PART_SHADE = "part_shade", "part shade"
    SUN = "sun", "full sun"
    HOT = "hot", "hot, reflected heat or wind"


class Emitter(Words):
    FIXED_SPRAY = "fixed_spray", "fixed spray"
    ROTATING_NOZZLE = "rotating_nozzle", "multi-stream rotating nozzle"
    ROTOR = "rotor", "gear or impact rotor"
    MICRO_SPRAY = "micro_spray", "micro-spray"
    DRIP_GRID = "drip_grid", "in-line drip grid"
    POINT_DRIP = "point_drip", "point-source drip"
    BUBBLER = "bubbler", "bubbler"


DRIP_EMITTERS = (Emitter.DRIP_GRID, Emitter.POINT_DRIP)


class PipeMaterial(Words):
    PVC = "pvc", "PVC"
    PE = "pe", "polyethylene"
    COPPER = "copper", "copper"
    GALVANISED = "galvanised", "galvanized steel, new"
    OLD_STEEL = "old_steel", "steel, old"
    ALUMINIUM = "aluminium", "light alloy with couplers"


class Origin(Words):
    MEASURED = "measured", "measured on site"
    DESIGN = "design", "from the design or the device's data"
    UNKNOWN = "unknown", "unknown, use the usual value"


class RegisterUnit(Words):
    M3 = "m3", "m³"
    LITRE = "litre", "L"
    US_GALLON = "us_gallon", "US gal"
    KGAL = "kgal", "1,000 US gal"
    CCF = "ccf", "100 ft³"
    FT3 = "ft3", "ft³"


class PermittedDays(Words):
    ANY = "any", "any day"
    WEEKDAYS = "weekdays", "named weekdays"
    ODD = "odd", "odd dates"
    EVEN = "even", "even dates"


class ReportAs(Words):
    ATTACHMENT = "attachment", "attached as PDF"
    LINK = "link", "as a link to read in the browser"


class Language(Words):
    ENGLISH = "en", "English"
    GERMAN = "de", "German"
