import uuid
from typing import Self

from django.conf import settings
from django.db import models
from django.db.models import Q

from jobs.core.rulebook import MEASUREMENT
from jobs.models.visits import Visit
from sites.core import writing
from sites.models import Controller, Photo, Role, Site, User, Valve, WaterSupply, Zone
from sites.models.places import site_scope
from sites.models.rows import ScopedRows
from sites.models.ruled import RuledRow, column


class ValveMeasurementQuerySet(ScopedRows["ValveMeasurement"]):
    def visible_to(self, user: User) -> Self:
        if user.role == Role.CLIENT:
            return self.none()
        return self.filter(site_scope(user, "visit__site"))


class ValveMeasurement(RuledRow):
    """What was measured at one valve on one visit. Rows are only added; the latest counts, the others stay."""

    rules = MEASUREMENT

    uuid = models.UUIDField(default=uuid.uuid4, unique=True)
    visit = models.ForeignKey(Visit, on_delete=models.CASCADE, related_name="measurements")
    valve = models.ForeignKey(Valve, on_delete=models.PROTECT, related_name="measurements")
    coil_resistance_ohm = column(MEASUREMENT["coil_resistance_ohm"])
    open_circuit = column(MEASUREMENT["open_circuit"])
    voltage_v = column(MEASUREMENT["voltage_v"])
    current_a = column(MEASUREMENT["current_a"])
    flow_l_min = column(MEASUREMENT["flow_l_min"])
    pressure_kpa = column(MEASUREMENT["pressure_kpa"])
    opens = column(MEASUREMENT["opens"])
    closes = column(MEASUREMENT["closes"])
    temperature_c = column(MEASUREMENT["temperature_c"])
    air_pressure_kpa = column(MEASUREMENT["air_pressure_kpa"])
    air_min = column(MEASUREMENT["air_min"])
    note = column(MEASUREMENT["note"])
    measured_at = models.DateTimeField()
    measured_by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.SET_NULL)

    objects = ValveMeasurementQuerySet.as_manager()

    class Meta:
        ordering = ["-measured_at", "-pk"]

    def __str__(self) -> str:
        return f"{self.valve} on {writing.day(self.measured_at)}"


class FaultQuerySet(ScopedRows["Fault"]):
    def visible_to(self, user: User) -> Self:
        if user.role == Role.CLIENT:
            return self.none()  # a client reads faults in the published report
        return self.filter(site_scope(user))

    def open(self) -> Self:
        return self.filter(state=Fault.State.OPEN)


class Fault(models.Model):
    """Something wrong at a site. It lives across visits and seasons until it is repaired or dismissed."""

    class Kind(models.TextChoices):
        COIL_OPEN = "coil_open", "open circuit: broken wire, splice or coil"
        COIL_SHORT = "coil_short", "short circuit in wire or coil"
        HIGH_RESISTANCE = "high_resistance", "high resistance: corroded splice or wire"
        LOW_VOLTAGE = "low_voltage", "low voltage at the valve"
        VALVE_STUCK_SHUT = "valve_stuck_shut", "valve does not open"
        VALVE_STUCK_OPEN = "valve_stuck_open", "valve does not close"
        VALVE_WEEPS = "valve_weeps", "valve weeps"
        PIPE_LEAK = "pipe_leak", "pipe or fitting leaks"
        HEAD_BROKEN = "head_broken", "broken or missing head"
        HEAD_BLOCKED = "head_blocked", "blocked or badly aimed head"
        LOW_PRESSURE = "low_pressure", "low pressure or flow"
        CONTROLLER = "controller", "controller fault"
        PUMP = "pump", "pump fault"
        BACKFLOW = "backflow", "backflow assembly fault"
        OTHER = "other", "other"

    class Severity(models.TextChoices):
        UNSAFE = "unsafe", "unsafe"
        WATER_LOSS = "water_loss", "water loss"
        PLANTS_AT_RISK = "plants_at_risk", "plants at risk"
        COSMETIC = "cosmetic", "cosmetic"

    class State(models.TextChoices):
        OPEN = "open", "open"
        REPAIRED = "repaired", "repaired"
        DISMISSED = "dismissed", "dismissed"

    uuid = models.UUIDField(default=uuid.uuid4, unique=True)
    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="faults")
    found_on_visit = models.ForeignKey(
        Visit, null=True, blank=True, on_delete=models.SET_NULL, related_name="faults_found"
    )
    valve = models.ForeignKey(Valve, null=True, blank=True, on_delete=models.SET_NULL, related_name="faults")
    zone = models.ForeignKey(Zone, null=True, blank=True, on_delete=models.SET_NULL, related_name="faults")
    controller = models.ForeignKey(
        Controller, null=True, blank=True, on_delete=models.SET_NULL, related_name="faults"
    )
    supply = models.ForeignKey(WaterSupply, null=True, blank=True, on_delete=models.SET_NULL, related_name="faults")
    kind = models.CharField(max_length=20, choices=Kind)
    severity = models.CharField(max_length=15, choices=Severity)
    description = models.TextField(blank=True)
    part_needed = models.CharField(max_length=120, blank=True)
    photos = models.ManyToManyField(Photo, blank=True, related_name="faults")
    state = models.CharField(max_length=10, choices=State, default=State.OPEN)
    found_at = models.DateTimeField()
    found_by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.SET_NULL, related_name="+")
    repaired_at = models.DateTimeField(null=True, blank=True)
    repaired_on_visit = models.ForeignKey(
        Visit, null=True, blank=True, on_delete=models.SET_NULL, related_name="faults_repaired"
    )
    repair_note = models.CharField(max_length=300, blank=True)

    objects = FaultQuerySet.as_manager()

    class Meta:
        ordering = ["-found_at", "-pk"]
        constraints = [
            models.CheckConstraint(
                name="fault_repaired_has_a_time",
                condition=~Q(state="repaired") | Q(repaired_at__isnull=False),
            )
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} at {self.site}"
