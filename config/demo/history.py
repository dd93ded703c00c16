"""What was found on the finished visits: checklist answers, measurements, faults and their repairs."""

import datetime as dt
import random
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from django.db.models import Max, Model

from config.demo.dice import dealt_uuid, dice
from config.demo.readings import measurement
from config.demo.register import Progress
from config.demo.seasons import Stop
from config.demo.stories import VALVE_FAULTS, FaultWords, Repair, Trouble, ValveStory, found_on_a_walk, valve_story
from config.demo.visits import repair_visit
from jobs.models import ChecklistAnswer, ChecklistItem, ChecklistTemplate, Fault, ValveMeasurement, Visit, VisitKind
from sites.models import Controller, Valve, Zone

BATCH = 100  # sites held in memory at a time
REPAIRS_FROM_MIN, REPAIRS_UNTIL_MIN = 13 * 60, 16 * 60
NUMBERS = {"static_pressure": (300.0, 520.0), "air_pressure_limit": (180.0, 200.0)}  # kPa; the air suits any pipe


@dataclass
class Found:
    """Rows of one batch of sites, saved in this order."""

    repair_visits: list[Visit] = field(default_factory=list)
    faults: list[Fault] = field(default_factory=list)
    measurements: list[ValveMeasurement] = field(default_factory=list)
    answers: list[ChecklistAnswer] = field(default_factory=list)

    def save(self) -> None:
        batches: tuple[Sequence[Model], ...] = (self.repair_visits, self.faults, self.measurements, self.answers)
        for rows in batches:
            if rows:
                type(rows[0])._default_manager.bulk_create(rows, batch_size=500)


def _moment(visit: Visit, share: float) -> dt.datetime:
    """When this share of the time on site had passed."""
    assert visit.started_at and visit.finished_at
    return visit.started_at + (visit.finished_at - visit.started_at) * share


class History:
    """Walks the sites' finished visits in order of time. Kept as an object for what all sites share."""

    def __init__(self, seed: int, today: dt.date) -> None:
        self.seed, self.today = seed, today
        self.items: dict[int, list[ChecklistItem]] = defaultdict(list)
        for item in ChecklistItem.objects.order_by("template", "position"):
            self.items[item.template_id].append(item)
        self.repair_template = ChecklistTemplate.objects.get(kind=VisitKind.REPAIR, current=True)
        ends = Visit.objects.filter(state=Visit.State.FINISHED).order_by().values_list("technician", "planned_on")
        self.busy_until = {
            (who, day): end.hour * 60 + end.minute for who, day, end in ends.annotate(Max("leaves_at"))
        }

    def write(self, stops: list[Stop], progress: Progress) -> None:
        for start in range(0, len(stops), BATCH):
            batch = stops[start : start + BATCH]
            self._batch(batch).save()
            progress("visits of the past", start + len(batch), len(stops))

    def _batch(self, stops: list[Stop]) -> Found:
        ids = [stop.site_id for stop in stops]
        visits: dict[int, list[Visit]] = defaultdict(list)
        for visit in Visit.objects.filter(site__in=ids, state=Visit.State.FINISHED).order_by("started_at", "pk"):
            visits[visit.site_id].append(visit)
        valves: dict[int, list[Valve]] = defaultdict(list)
        for valve in Valve.objects.filter(controller__site__in=ids).select_related("controller").order_by("pk"):
            valves[valve.controller.site_id].append(valve)
        zones: dict[int, list[Zone]] = defaultdict(list)
        for zone in Zone.objects.filter(site__in=ids).order_by("number"):
            zones[zone.site_id].append(zone)
        found = Found()
        for stop in stops:
            site = SiteHistory(self, stop, visits[stop.site_id], valves[stop.site_id], zones[stop.site_id], found)
            site.write()
        return found

    def answers(self, visit: Visit, rng: random.Random) -> list[ChecklistAnswer]:
        """Every step of the visit's checklist; a step that is no gate may have been left out."""
        rows = []
        for item in self.items.get(visit.checklist_id or 0, []):
            answer = ChecklistAnswer(
                visit=visit,
                item=item,
                done=item.gate or item.answer != "tick" or rng.random() > 0.02,
                answered_at=_moment(visit, rng.uniform(0.05, 0.95)),
                answered_by_id=visit.technician_id,
            )
            if item.answer == "number":
                answer.number = float(5 * round(rng.uniform(*NUMBERS.get(item.key, (10.0, 20.0))) / 5))
            elif item.answer == "text":
                answer.text = rng.choice(("nothing to see", "two dry corners", "moss under the trees", "all well"))
            elif item.answer == "choice":
                answer.text = rng.choice(item.options)[0]
            rows.append(answer)
        return rows

    def repair_time(self, technician_id: int, found_on: dt.date, rng: random.Random) -> tuple[dt.date, int] | None:
        """A free hour at the end of a later working day, None if that is not past yet."""
        day = found_on + dt.timedelta(days=rng.randint(3, 12))
        while day < self.today:
            start = max(self.busy_until.get((technician_id, day), 0) + 20, REPAIRS_FROM_MIN)
            if day.weekday() < 5 and start <= REPAIRS_UNTIL_MIN - 40:
                self.busy_until[technician_id, day] = start + 40
                return day, start
            day += dt.timedelta(days=1)
        return None


@dataclass
class SiteHistory:
    """One site's part of the history."""

    history: History
    stop: Stop
    visits: list[Visit]
    valves: list[Valve]
    zones: list[Zone]
    found: Found

    def write(self) -> None:
        seed, index = self.history.seed, self.stop.index
        stories = [valve_story(dice(seed, "story", index, n)) for n in range(len(self.valves))]
        for number, visit in enumerate(self.visits):
            rng = dice(seed, "found", index, number)
            self.found.answers += self.history.answers(visit, rng)
            for valve, story in zip(self.valves, stories, strict=True):
                self._measure(visit, number, valve, story, rng)
            words = found_on_a_walk(rng)
            if words is not None:
                self._walk_fault(visit, words, rng)

    def _measure(self, visit: Visit, number: int, valve: Valve, story: ValveStory, rng: random.Random) -> None:
        share = (self.valves.index(valve) + 1) / (len(self.valves) + 2)
        at = _moment(visit, share)
        self._row(visit, number, valve, story, at, rng)
        if story.trouble == Trouble.NONE or number != story.found_at:
            return
        fault = self._fault(visit, VALVE_FAULTS[story.trouble], story.repair, rng, valve=valve)
        if fault.state != Fault.State.REPAIRED:
            return
        # Measured again after the repair: the latest row counts, the first one stays.
        again = fault.repaired_on_visit
        assert again and again.finished_at
        self._row(again, number, valve, None, again.finished_at - dt.timedelta(minutes=2), rng)

    def _row(
        self, visit: Visit, number: int, valve: Valve, story: ValveStory | None, at: dt.datetime, rng: random.Random
    ) -> None:
        same = [v for v in self.valves if (v.controller_id, v.terminal) == (valve.controller_id, valve.terminal)]
        flow = next((zone.flow_l_min for zone in self.zones if zone.valve_id == valve.pk), None)
        self.found.measurements.append(
            measurement(
                visit=visit, valve=valve, twins=same, story=story, number=number, at=at, flow_l_min=flow, rng=rng
            )
        )

    def _walk_fault(self, visit: Visit, words: FaultWords, rng: random.Random) -> None:
        repair = rng.choices(list(Repair), (60, 26, 14))[0]
        if words.kind == Fault.Kind.CONTROLLER:
            place: dict[str, Controller | Zone] = {"controller": rng.choice(self.valves).controller}
        elif words.kind == Fault.Kind.BACKFLOW:
            place, repair = {}, Repair.NOT_YET
        else:
            place = {"zone": rng.choice(self.zones)}
        self._fault(visit, words, repair, rng, **place)

    def _fault(self, visit: Visit, words: FaultWords, repair: Repair, rng: random.Random, **place: Any) -> Fault:
        fault = Fault(
            uuid=dealt_uuid(rng),
            site_id=self.stop.site_id,
            found_on_visit=visit,
            kind=words.kind,
            severity=words.severity,
            description=words.description,
            part_needed=words.part_needed,
            found_at=_moment(visit, rng.uniform(0.3, 0.8)),
            found_by_id=visit.technician_id,
            **place,
        )
        self.found.faults.append(fault)
        if repair == Repair.NOT_YET:
            return fault
        repaired_on = visit if repair == Repair.ON_THE_SPOT else self._repair_visit(visit, words, rng)
        if repaired_on is not None:
            fault.state, fault.repaired_on_visit = Fault.State.REPAIRED, repaired_on
            fault.repaired_at = repaired_on.finished_at
            fault.repair_note = words.repair_note
        return fault

    def _repair_visit(self, found: Visit, words: FaultWords, rng: random.Random) -> Visit | None:
        assert found.technician_id and found.planned_on
        free = self.history.repair_time(found.technician_id, found.planned_on, rng)
        if free is None:
            return None
        day, start = free
        template = self.history.repair_template
        visit = repair_visit(self.stop, found, day, start, rng, template, words.description)
        self.found.repair_visits.append(visit)
        self.found.answers += self.history.answers(visit, rng)
        return visit
