"""What stands on a site: water supply, pump, backflow assemblies, controllers, valves, zones. SI units."""

from collections.abc import Sequence
from typing import Self

from django.core.exceptions import ValidationError
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models

from sites.models.people import User
from sites.models.places import Site, site_scope
from sites.models.rows import Row, ScopedRows

POSITIVE = [MinValueValidator(0.0001)]
NOT_NEGATIVE = [MinValueValidator(0)]


class SiteRows(ScopedRows[Row]):
    """Rows that carry a `site`."""

    def visible_to(self, user: User) -> Self:
        return self.filter(site_scope(user))


def require_same_site(row: models.Model, field: str) -> None:
    """Refuse a row that points to plant of another site; a row without a site yet is refused elsewhere."""
    other = getattr(row, field)
    if other is not None and row.site_id is not None and other.site.pk != row.site_id:
        raise ValidationError({field: "This belongs to another site."})


class WaterSupply(models.Model):
    class Kind(models.TextChoices):
        MAINS = "mains", "mains"
        WELL = "well", "well with pressure switch"
        PUMP = "pump", "pump the controller starts"
        GRAVITY = "gravity", "gravity or tank"

    site = models.ForeignKey(Site, on_delete=models.CASCADE, related_name="supplies")
    name = models.CharField(max_length=80, default="Supply")
    kind = models.CharField(max_length=10, choices=Kind)
    static_pressure_kpa = models.FloatField("static pressure", null=True, blank=True, validators=POSITIVE)
    flow_available_l_min = models.FloatField("flow available", null=True, blank=True, validators=POSITIVE)
    working_pressure_kpa = models.FloatField(
        "pressure at that flow",
        null=True,
        blank=True,
        validators=POSITIVE,
        help_text="Read while the available flow runs, behind meter and backflow assembly.",
    )
    shutoff_location = models.CharField(max_length=200, blank=True)

    objects = SiteRows.as_manager()

    class Meta:
        ordering = ["site", "pk"]
        verbose_name_plural = "water supplies"

    def __str__(self) -> str:
        return f"{self.name} ({self.get_kind_display()})"

    def clean(self) -> None:
        static, working = self.static_pressure_kpa, self.working_pressure_kpa
        if static is not None and working is not None and working >= static:
            raise ValidationError({"working_pressure_kpa": "Flowing water has less pressure than standing water."})


CURVE_POINTS = (("curve_flow_1_l_min", "curve_head_1_m"), ("curve_flow_2_l_min", "curve_head_2_m"))


class PumpQuerySet(ScopedRows["Pump"]):
    def visible_to(self, user: User) -> Self:
        return self.filter(site_scope(user, "supply__site"))


class Pump(models.Model):
    supply = models.OneToOneField(WaterSupply, on_delete=models.CASCADE, related_name="pump")
    name = models.CharField(max_length=80, default="Pump")
    prime_delay_s = models.PositiveIntegerField(
        "prime delay", default=5, help_text="Seconds an open valve waits for the pump to start."
    )
    minimum_run_s = models.PositiveIntegerField("minimum run", default=60, help_text="Seconds.")
    minimum_rest_s = models.PositiveIntegerField(
        "rest between two runs", default=60, help_text="Seconds; the motor's nameplate overrides the usual 60."
    )
    run_down_s = models.PositiveIntegerField(
        "run-down", default=2, help_text="Seconds it still turns after its stop: a valve stays open for so long."
    )
    most_starts_per_hour = models.PositiveIntegerField(
        "most starts an hour", default=6, validators=[MinValueValidator(1)]
    )
    rated_power_kw = models.FloatField("rated power", null=True, blank=True, validators=POSITIVE, help_text="kW.")
    shutoff_head_m = models.FloatField(
        "head at no flow",
        null=True,
        blank=True,
        validators=POSITIVE,
        help_text="Three points of the pump's curve, from its data sheet: this one and two with flow.",
    )
    curve_flow_1_l_min = models.FloatField("flow, second point", null=True, blank=True, validators=POSITIVE)
    curve_head_1_m = models.FloatField("head, second point", null=True, blank=True, validators=POSITIVE)
    curve_flow_2_l_min = models.FloatField("flow, third point", null=True, blank=True, validators=POSITIVE)
    curve_head_2_m = models.FloatField("head, third point", null=True, blank=True, validators=NOT_NEGATIVE)
    efficiency_percent = models.FloatField(
        "efficiency of pump and motor together",
        null=True,
        blank=True,
        validators=[MinValueValidator(1), MaxValueValidator(95)],
        help_text="%, where the pump mostly runs. Without it no power is computed.",
    )
    energy_price_per_kwh = models.DecimalField(
        "price of a kWh",
        max_digits=7,
        decimal_places=4,
        null=True,
        blank=True,
        validators=NOT_NEGATIVE,
        help_text="In the firm's currency.",
    )

    objects = PumpQuerySet.as_manager()

    def __str__(self) -> str:
        return self.name

    @property
    def site(self) -> Site:
        return self.supply.site

    def clean(self) -> None:
        """A curve is whole or not there, and its head falls with the flow."""
        names = ("shutoff_head_m", *(name for point in CURVE_POINTS for name in point))
        missing = [name for name in names if getattr(self, name) is None]
        if 0 < len(missing) < len(names):
            raise ValidationError(dict.fromkeys(missing, "A curve needs all three points."))
        if missing:
            return
        wrong = {}
        if self.curve_flow_2_l_min <= self.curve_flow_1_l_min:
            wrong["curve_flow_2_l_min"] = "More than the second point's flow."
        if self.curve_head_1_m >= self.shutoff_head_m:
            wrong["curve_head_1_m"] = "Less than the head at no flow."
        if self.curve_head_2_m >= self.curve_head_1_m:
            wrong["curve_head_2_m"] = "Less than the second point's head."
        if wrong:
            raise ValidationError(wrong)


class BackflowAssembly(models.Model):
    class Kind(models.TextChoices):
        REDUCED_PRESSURE = "reduced_pressure", "reduced pressure assembly"
        DOUBLE_CHECK = "double_check", "double check assembly"
        PRESSURE_VACUUM = "pressure_vacuum", "pressure vacuum breaker"
        ATMOSPHERIC = "atmospheric", "atmospheric vacuum breaker"

    site = models.ForeignKey(Site, on_delete=models.CASCADE, related_name="backflow_assemblies")
    supply = models.ForeignKey(
        WaterSupply, null=True, blank=True, on_delete=models.SET_NULL, related_name="backflow_assemblies"
    )
    kind = models.CharField(max_length=20, choices=Kind)
    size_mm = models.FloatField("size", null=True, blank=True, validators=POSITIVE)
    serial_number = models.CharField(max_length=60, blank=True)
    location = models.CharField(max_length=200, blank=True)
    last_tested_on = models.DateField(null=True, blank=True)
    test_due_on = models.DateField("next test due", null=True, blank=True)

    objects = SiteRows.as_manager()

    class Meta:
        ordering = ["site", "pk"]
        verbose_name_plural = "backflow assemblies"

    def __str__(self) -> str:
        return f"{self.get_kind_display()} {self.serial_number}".strip()

    def clean(self) -> None:
        require_same_site(self, "supply")


class Controller(models.Model):
    class Output(models.TextChoices):
        AC24 = "ac24", "24 V AC"
        DC24 = "dc24", "24 V DC"
        LATCHING = "latching", "battery, latching coils"

    class Collision(models.TextChoices):
        QUEUE = "queue", "wait for each other: the smaller priority number goes first"
        REFUSE = "refuse", "do not run: a start that falls into another program is dropped"

    site = models.ForeignKey(Site, on_delete=models.CASCADE, related_name="controllers")
    supply = models.ForeignKey(
        WaterSupply, null=True, blank=True, on_delete=models.SET_NULL, related_name="controllers"
    )
    name = models.CharField(max_length=80, default="Controller")
    location = models.CharField(max_length=200, blank=True)
    terminals = models.PositiveIntegerField(
        "number of terminals", validators=[MinValueValidator(1), MaxValueValidator(200)]
    )
    output = models.CharField("valve supply", max_length=10, choices=Output, default=Output.AC24)
    transformer_va = models.FloatField("transformer", null=True, blank=True, validators=POSITIVE, help_text="VA.")
    output_v = models.FloatField(
        "output voltage", null=True, blank=True, validators=POSITIVE, help_text="V, measured with one valve open."
    )
    pump_relay_va = models.FloatField(
        "pump relay load", null=True, blank=True, validators=POSITIVE, help_text="VA of the relay's coil."
    )
    one_valve_at_a_time = models.BooleanField(
        "one valve at a time (interlocked outputs)",
        default=True,
        help_text="Opening one output closes the other by itself.",
    )
    most_valves_open = models.PositiveSmallIntegerField(
        "most zone valves open together",
        default=1,
        validators=[MinValueValidator(1), MaxValueValidator(8)],
        help_text="Above 1 only with separate outputs, and as far as the supply feeds them.",
    )
    ends_outputs_itself = models.BooleanField(
        "ends an output by itself",
        default=False,
        help_text="It switches an output off after that output's own longest duration, with no command needed.",
    )
    colliding_programs = models.CharField(
        "programs that meet",
        max_length=6,
        choices=Collision,
        default=Collision.QUEUE,
        help_text="What this controller does with a program whose start falls into another one.",
    )
    command_delay_bound_s = models.FloatField(
        "command delay bound",
        default=2.0,
        validators=NOT_NEGATIVE,
        help_text="A command takes effect within this many seconds.",
    )
    set_by_hand = models.BooleanField(
        default=True, help_text="The schedule is typed in at the controller on a visit, not sent to it."
    )
    has_seasonal_percentage = models.BooleanField("has one seasonal percentage for all zones", default=True)

    objects = SiteRows.as_manager()

    class Meta:
        ordering = ["site", "pk"]

    def __str__(self) -> str:
        return self.name

    def waters_from(self, supplies: Sequence[WaterSupply]) -> WaterSupply | None:
        """Of its site's supplies the one it names, else the only one there is."""
        named = [supply for supply in supplies if supply.pk == self.supply_id]
        found = named or ([] if self.supply_id else list(supplies))
        return found[0] if len(found) == 1 else None

    def clean(self) -> None:
        require_same_site(self, "supply")
        if self.one_valve_at_a_time and (self.most_valves_open or 1) > 1:
            raise ValidationError({"most_valves_open": "Interlocked outputs open one valve at a time."})


class ValveQuerySet(ScopedRows["Valve"]):
    def visible_to(self, user: User) -> Self:
        return self.filter(site_scope(user, "controller__site"))


class Valve(models.Model):
    """A 24 V valve on one terminal.

    Two valves on one terminal are allowed and reported, not refused: that is what is found in the field.
    """

    controller = models.ForeignKey(Controller, on_delete=models.CASCADE, related_name="valves")
    terminal = models.PositiveIntegerField(null=True, blank=True, validators=[MinValueValidator(1)])
    name = models.CharField(max_length=80)
    is_master = models.BooleanField("master valve", default=False)
    location = models.CharField(max_length=200, blank=True)
    size_mm = models.FloatField("size", null=True, blank=True, validators=POSITIVE)
    coil_resistance_ohm = models.FloatField(
        "coil resistance when new",
        null=True,
        blank=True,
        validators=POSITIVE,
        help_text="Ω at 20 °C, at the coil.",
    )
    coil_holding_va = models.FloatField(
        "coil holding load", null=True, blank=True, validators=POSITIVE, help_text="VA."
    )
    coil_inrush_va = models.FloatField(
        "coil inrush load", null=True, blank=True, validators=POSITIVE, help_text="VA in the first moments."
    )
    wire_length_m = models.FloatField("wire length one way", null=True, blank=True, validators=POSITIVE)
    wire_section_mm2 = models.FloatField(
        "wire section", null=True, blank=True, validators=POSITIVE, help_text="mm² of copper."
    )
    pressure_loss_kpa = models.FloatField(
        "pressure lost in the valve",
        null=True,
        blank=True,
        validators=NOT_NEGATIVE,
        help_text="At the zone's flow, with filter and regulator if there are any, from their data.",
    )
    opens_within_s = models.FloatField(default=5.0, validators=NOT_NEGATIVE)
    closes_from_s = models.FloatField(
        "soonest shut after",
        default=0.0,
        validators=NOT_NEGATIVE,
        help_text="Seconds; 0 where nobody has timed it.",
    )
    closes_within_s = models.FloatField(default=15.0, validators=NOT_NEGATIVE)
    installed_on = models.DateField(
        "built in on", null=True, blank=True, help_text="A guess is better than nothing: faults are told by age."
    )

    objects = ValveQuerySet.as_manager()

    class Meta:
        ordering = ["controller", "terminal", "pk"]

    def __str__(self) -> str:
        return self.name

    def clean(self) -> None:
        if None not in (self.closes_from_s, self.closes_within_s) and self.closes_from_s > self.closes_within_s:
            raise ValidationError({"closes_from_s": "Not later than the longest closing time."})

    @property
    def site(self) -> Site:
        return self.controller.site


class Planting(models.TextChoices):
    COOL_TURF = "cool_turf", "cool-season turf"
    WARM_TURF = "warm_turf", "warm-season turf"
    SPORTS_TURF = "sports_turf", "sports turf"
    ANNUALS = "annuals", "annual flowers"
    PERENNIALS = "perennials", "perennials and ground cover"
    SHRUBS = "shrubs", "shrubs"
    TREES = "trees", "trees"
    DROUGHT_TOLERANT = "drought_tolerant", "drought-tolerant planting"
    VEGETABLES = "vegetables", "vegetables"


class SoilTexture(models.TextChoices):
    CLAY = "clay", "clay"
    SILTY_CLAY = "silty_clay", "silty clay"
    CLAY_LOAM = "clay_loam", "clay loam"
    LOAM = "loam", "loam"
    SANDY_LOAM = "sandy_loam", "sandy loam"
    LOAMY_SAND = "loamy_sand", "loamy sand"
    SAND = "sand", "sand"


class Exposure(models.TextChoices):
    SHADE = "shade", "shade"
    PART_SHADE = "part_shade", "part shade"
    SUN = "sun", "full sun"
    HOT = "hot", "hot, reflected heat or wind"


class Emitter(models.TextChoices):
    FIXED_SPRAY = "fixed_spray", "fixed spray"
    ROTATING_NOZZLE = "rotating_nozzle", "multi-stream rotating nozzle"
    ROTOR = "rotor", "gear or impact rotor"
    MICRO_SPRAY = "micro_spray", "micro-spray"
    DRIP_GRID = "drip_grid", "in-line drip grid"
    POINT_DRIP = "point_drip", "point-source drip"
    BUBBLER = "bubbler", "bubbler"


DRIP_EMITTERS = (Emitter.DRIP_GRID, Emitter.POINT_DRIP)


class PipeMaterial(models.TextChoices):
    PVC = "pvc", "PVC"
    PE = "pe", "polyethylene"
    COPPER = "copper", "copper"
    GALVANISED = "galvanised", "galvanised steel, new"
    OLD_STEEL = "old_steel", "steel, old"
    ALUMINIUM = "aluminium", "aluminium with couplers"


class Zone(models.Model):
    class Origin(models.TextChoices):
        MEASURED = "measured", "measured on site"
        DESIGN = "design", "from the design or the device's data"
        UNKNOWN = "unknown", "unknown, use the usual value"

    site = models.ForeignKey(Site, on_delete=models.CASCADE, related_name="zones")
    valve = models.ForeignKey(Valve, null=True, blank=True, on_delete=models.SET_NULL, related_name="zones")
    number = models.PositiveIntegerField()
    name = models.CharField(max_length=80)
    area_m2 = models.FloatField("area", null=True, blank=True, validators=POSITIVE)
    planting = models.CharField(max_length=20, choices=Planting)
    soil = models.CharField(max_length=20, choices=SoilTexture, blank=True)
    slope_percent = models.FloatField(
        "slope", default=0, validators=[MinValueValidator(0), MaxValueValidator(100)], help_text="%"
    )
    exposure = models.CharField(max_length=20, choices=Exposure, default=Exposure.SUN)
    emitter = models.CharField("emitter class", max_length=20, choices=Emitter)
    application_rate_mm_h = models.FloatField("application rate", null=True, blank=True, validators=POSITIVE)
    distribution_uniformity = models.FloatField(
        "distribution uniformity, low quarter",
        null=True,
        blank=True,
        validators=[MinValueValidator(0.05), MaxValueValidator(1)],
        help_text="0.05 to 1, from a catch-can test.",
    )
    flow_l_min = models.FloatField("flow", null=True, blank=True, validators=POSITIVE)
    figures_origin = models.CharField(
        "rate, uniformity and flow are", max_length=10, choices=Origin, default=Origin.DESIGN
    )
    measured_on = models.DateField(null=True, blank=True)
    flow_origin = models.CharField(
        "the flow alone is",
        max_length=10,
        choices=Origin,
        blank=True,
        help_text="Where the flow was not found together with rate and uniformity, as after a catch-can test.",
    )
    pipe_length_m = models.FloatField(
        "pipe to the farthest head",
        null=True,
        blank=True,
        validators=POSITIVE,
        help_text="From the supply or the pump, main and lateral together.",
    )
    pipe_inside_mm = models.FloatField(
        "inside diameter of that pipe",
        null=True,
        blank=True,
        validators=POSITIVE,
        help_text="Where it is narrowest; nominal sizes mislead.",
    )
    pipe_material = models.CharField("pipe", max_length=12, choices=PipeMaterial, blank=True)
    head_rise_m = models.FloatField(
        "height of the heads above the supply",
        null=True,
        blank=True,
        validators=[MinValueValidator(-300), MaxValueValidator(300)],
        help_text="At a pump above the water's surface; negative where they lie lower.",
    )
    head_pressure_kpa = models.FloatField(
        "design pressure at the head",
        null=True,
        blank=True,
        validators=POSITIVE,
        help_text="The pressure at which the flow above holds, from the nozzle's data.",
    )
    root_depth_m = models.FloatField(
        "root depth", null=True, blank=True, validators=[MinValueValidator(0.02), MaxValueValidator(3)]
    )
    planted_on = models.DateField(
        null=True, blank=True, help_text="New planting gets more water for its first season."
    )
    in_use = models.BooleanField(default=True)

    objects = SiteRows.as_manager()

    class Meta:
        ordering = ["site", "number", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["site", "number"],
                name="zone_number_once_per_site",
                violation_error_message="This site already has a zone with this number.",
            )
        ]

    def __str__(self) -> str:
        return f"{self.number} {self.name}"

    def clean(self) -> None:
        require_same_site(self, "valve")
