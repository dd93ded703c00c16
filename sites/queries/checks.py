"""A site's rows as the plant the register checks read."""

from django.utils.text import capfirst

from sites.core.checks import (
    BackflowFacts,
    CheckFinding,
    ControllerFacts,
    SitePlant,
    SupplyFacts,
    ValveFacts,
    ZoneFacts,
    check_site,
    worst_first,
)
from sites.core.water_checks import water_findings
from sites.models import Valve
from sites.queries.site_page import SitePage
from sites.queries.zone_water import zone_lines


def site_findings(page: SitePage) -> tuple[CheckFinding, ...]:
    """What is unsafe, wrong or missing in a register already read; asks the database nothing."""
    plant = plant_of(page)
    answers = (line.answers for line in zone_lines(page, plant) if line.zone.in_use)
    return worst_first([*check_site(plant, page.today), *water_findings(answers)])


def plant_of(page: SitePage) -> SitePlant:
    return SitePlant(
        supplies=tuple(
            SupplyFacts(
                supply.pk, supply.name, supply.kind, supply.flow_available_l_min, has_pump=hasattr(supply, "pump")
            )
            for supply in page.supplies
        ),
        controllers=tuple(
            ControllerFacts(
                line.controller.pk,
                line.controller.name,
                line.controller.terminals,
                output=line.controller.output,
                transformer_va=line.controller.transformer_va,
                one_valve_at_a_time=line.controller.one_valve_at_a_time,
                supply_id=line.controller.supply_id,
                pump_relay_va=line.controller.pump_relay_va or 0.0,
                most_open=line.controller.most_valves_open,
            )
            for line in page.controllers
        ),
        valves=tuple(_valve_facts(valve) for line in page.controllers for valve in line.valves),
        zones=tuple(
            ZoneFacts(
                zone.pk,
                f"Zone {zone}",
                valve_id=zone.valve_id,
                area_m2=zone.area_m2,
                application_rate_mm_h=zone.application_rate_mm_h,
                flow_l_min=zone.flow_l_min,
                in_use=zone.in_use,
            )
            for zone in page.zones
        ),
        backflows=tuple(
            BackflowFacts(line.assembly.pk, capfirst(str(line.assembly)), line.assembly.test_due_on)
            for line in page.assemblies
        ),
        source_v={
            line.controller.pk: line.controller.output_v
            for line in page.controllers
            if line.controller.output_v is not None
        },
    )


def _valve_facts(valve: Valve) -> ValveFacts:
    return ValveFacts(
        valve.pk,
        valve.name,
        valve.controller_id,
        terminal=valve.terminal,
        is_master=valve.is_master,
        holding_va=valve.coil_holding_va,
        inrush_va=valve.coil_inrush_va,
        wire_length_m=valve.wire_length_m,
        wire_section_mm2=valve.wire_section_mm2,
        closes_from_s=valve.closes_from_s,
        opens_within_s=valve.opens_within_s,
    )
