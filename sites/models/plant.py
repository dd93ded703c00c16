"""What stands on a site: water supply, pump, backflow assemblies, controllers, valves, zones. SI units."""

from collections.abc import Sequence
from typing import Any, Self

from django.core.exceptions import ValidationError
from django.db import models

from sites.core.rulebook import BACKFLOW, CONTROLLER, PUMP, SUPPLY, VALVE, ZONE
from sites.core.rulebook.choices import AssemblyKind, Collision, Origin, Output, SupplyKind
from sites.models.people import User
from sites.models.places import Site, site_scope
from sites.models.rows import Row, ScopedRows
from sites.models.ruled import RuledRow, column


class SiteRows(ScopedRows[Row]):
    """Rows that carry a `site`."""

    def visible_to(self, user: User) -> Self:
        return self.filter(site_scope(user))


def require_same_site(row: Any, field: str) -> None:
    """Refuse a row that points to plant of another site; a row without a site yet is refused elsewhere."""
    other = getattr(row, field)
    if other is not None and row.site_id is not None and other.site.pk != row.site_id:
        raise ValidationError({field: row.rules[field].told})


class WaterSupply(RuledRow):
    rules = SUPPLY
    Kind = SupplyKind

    site = models.ForeignKey(Site, on_delete=models.CASCADE, related_name="supplies")
    name = column(SUPPLY["name"])
    kind = column(SUPPLY["kind"])
    static_pressure_kpa = column(SUPPLY["static_pressure_kpa"])
    flow_available_l_min = column(SUPPLY["flow_available_l_min"])
    working_pressure_kpa = column(SUPPLY["working_pressure_kpa"])
    shutoff_location = column(SUPPLY["shutoff_location"])

    objects = SiteRows.as_manager()

    class Meta:
        ordering = ["site", "pk"]
        verbose_name_plural = "water supplies"

    def __str__(self) -> str:
        return f"{self.name} ({self.get_kind_display()})"


class PumpQuerySet(ScopedRows["Pump"]):
    def visible_to(self, user: User) -> Self:
        return self.filter(site_scope(user, "supply__site"))


class Pump(RuledRow):
    rules = PUMP

    supply = models.OneToOneField(WaterSupply, on_delete=models.CASCADE, related_name="pump")
    name = column(PUMP["name"])
    prime_delay_s = column(PUMP["prime_delay_s"])
    minimum_run_s = column(PUMP["minimum_run_s"])
    minimum_rest_s = column(PUMP["minimum_rest_s"])
    run_down_s = column(PUMP["run_down_s"])
    most_starts_per_hour = column(PUMP["most_starts_per_hour"])
    rated_power_kw = column(PUMP["rated_power_kw"])
    shutoff_head_m = column(PUMP["shutoff_head_m"])
    curve_flow_1_l_min = column(PUMP["curve_flow_1_l_min"])
    curve_head_1_m = column(PUMP["curve_head_1_m"])
    curve_flow_2_l_min = column(PUMP["curve_flow_2_l_min"])
    curve_head_2_m = column(PUMP["curve_head_2_m"])
    efficiency_percent = column(PUMP["efficiency_percent"])
    energy_price_per_kwh = column(PUMP["energy_price_per_kwh"])

    objects = PumpQuerySet.as_manager()

    def __str__(self) -> str:
        return self.name

    @property
    def site(self) -> Site:
        return self.supply.site


class BackflowAssembly(RuledRow):
    rules = BACKFLOW
    Kind = AssemblyKind

    site = models.ForeignKey(Site, on_delete=models.CASCADE, related_name="backflow_assemblies")
    supply = models.ForeignKey(
        WaterSupply, null=True, blank=True, on_delete=models.SET_NULL, related_name="backflow_assemblies"
    )
    kind = column(BACKFLOW["kind"])
    size_mm = column(BACKFLOW["size_mm"])
    serial_number = column(BACKFLOW["serial_number"])
    location = column(BACKFLOW["location"])
    last_tested_on = column(BACKFLOW["last_tested_on"])
    test_due_on = column(BACKFLOW["test_due_on"])

    objects = SiteRows.as_manager()

    class Meta:
        ordering = ["site", "pk"]
        verbose_name_plural = "backflow assemblies"

    def __str__(self) -> str:
        return f"{self.get_kind_display()} {self.serial_number}".strip()

    def clean(self) -> None:
        require_same_site(self, "supply")


class Controller(RuledRow):
    rules = CONTROLLER
    Output = Output
    Collision = Collision

    site = models.ForeignKey(Site, on_delete=models.CASCADE, related_name="controllers")
    supply = models.ForeignKey(
        WaterSupply, null=True, blank=True, on_delete=models.SET_NULL, related_name="controllers"
    )
    name = column(CONTROLLER["name"])
    location = column(CONTROLLER["location"])
    terminals = column(CONTROLLER["terminals"])
    output = column(CONTROLLER["output"])
    transformer_va = column(CONTROLLER["transformer_va"])
    output_v = column(CONTROLLER["output_v"])
    pump_relay_va = column(CONTROLLER["pump_relay_va"])
    one_valve_at_a_time = column(CONTROLLER["one_valve_at_a_time"])
    most_valves_open = column(CONTROLLER["most_valves_open"], models.PositiveSmallIntegerField)
    ends_outputs_itself = column(CONTROLLER["ends_outputs_itself"])
    colliding_programs = column(CONTROLLER["colliding_programs"])
    command_delay_bound_s = column(CONTROLLER["command_delay_bound_s"])
    set_by_hand = column(CONTROLLER["set_by_hand"])
    has_seasonal_percentage = column(CONTROLLER["has_seasonal_percentage"])

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
        if self.pk and self.changes("terminals"):
            highest = self.valves.aggregate(highest=models.Max("terminal"))["highest"] or 0
            if highest > (self.terminals or 0):
                raise ValidationError({"terminals": f"A valve sits on terminal {highest}. Move it first."})


class ValveQuerySet(ScopedRows["Valve"]):
    def visible_to(self, user: User) -> Self:
        return self.filter(site_scope(user, "controller__site"))


class Valve(RuledRow):
    """A 24 V valve on one terminal.

    Two valves on one terminal are allowed and reported, not refused: that is what is found in the field.
    """

    rules = VALVE

    controller = models.ForeignKey(Controller, on_delete=models.CASCADE, related_name="valves")
    terminal = column(VALVE["terminal"])
    name = column(VALVE["name"])
    is_master = column(VALVE["is_master"])
    location = column(VALVE["location"])
    size_mm = column(VALVE["size_mm"])
    coil_resistance_ohm = column(VALVE["coil_resistance_ohm"])
    coil_holding_va = column(VALVE["coil_holding_va"])
    coil_inrush_va = column(VALVE["coil_inrush_va"])
    wire_length_m = column(VALVE["wire_length_m"])
    wire_section_mm2 = column(VALVE["wire_section_mm2"])
    pressure_loss_kpa = column(VALVE["pressure_loss_kpa"])
    opens_within_s = column(VALVE["opens_within_s"])
    closes_from_s = column(VALVE["closes_from_s"])
    closes_within_s = column(VALVE["closes_within_s"])
    installed_on = column(VALVE["installed_on"])

    objects = ValveQuerySet.as_manager()

    class Meta:
        ordering = ["controller", "terminal", "pk"]

    def __str__(self) -> str:
        return self.name

    def clean(self) -> None:
        most = self.controller.terminals
        if self.changes("terminal", "controller") and (self.terminal or 0) > most:
            raise ValidationError({"terminal": f"{self.controller} has terminals 1 to {most}."})

    @property
    def site(self) -> Site:
        return self.controller.site


class Zone(RuledRow):
    rules = ZONE
    Origin = Origin

    site = models.ForeignKey(Site, on_delete=models.CASCADE, related_name="zones")
    valve = models.ForeignKey(Valve, null=True, blank=True, on_delete=models.SET_NULL, related_name="zones")
    number = column(ZONE["number"])
    name = column(ZONE["name"])
    area_m2 = column(ZONE["area_m2"])
    planting = column(ZONE["planting"])
    soil = column(ZONE["soil"])
    slope_percent = column(ZONE["slope_percent"])
    exposure = column(ZONE["exposure"])
    emitter = column(ZONE["emitter"])
    application_rate_mm_h = column(ZONE["application_rate_mm_h"])
    distribution_uniformity = column(ZONE["distribution_uniformity"])
    flow_l_min = column(ZONE["flow_l_min"])
    figures_origin = column(ZONE["figures_origin"])
    measured_on = column(ZONE["measured_on"])
    flow_origin = column(ZONE["flow_origin"])
    pipe_length_m = column(ZONE["pipe_length_m"])
    pipe_inside_mm = column(ZONE["pipe_inside_mm"])
    pipe_material = column(ZONE["pipe_material"])
    head_rise_m = column(ZONE["head_rise_m"])
    head_pressure_kpa = column(ZONE["head_pressure_kpa"])
    root_depth_m = column(ZONE["root_depth_m"])
    planted_on = column(ZONE["planted_on"])
    in_use = column(ZONE["in_use"])

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
        if self.valve is not None and self.valve.is_master and self.changes("valve"):
            raise ValidationError({"valve": ZONE["valve"].told})
        if self.changes("number"):
            other = Zone.objects.filter(site=self.site_id, number=self.number).exclude(pk=self.pk).first()
            if other:
                raise ValidationError({"number": f"This site already has a zone {other.number}: {other.name}."})
