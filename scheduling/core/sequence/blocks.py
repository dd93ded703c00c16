"""Put queued watering into blocks of commands: one zone hands over to the next, the pump starts and stops once.

Every time is whole seconds. Lead and lag times follow from the plant's bounds so that the order of events holds
whatever the delays are; `verify` proves it afterwards and shares nothing with this file but the plant.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass, field

from scheduling.core.sequence.plant import Plant, Valve
from scheduling.core.sequence.timeline import HOUR_S, Action, Command, Notice, NoticeKind, Run

GUARD_S = 1.0  # added to every lead and lag
MAX_ON_SPARE_S = 60.0  # an opening carries its planned duration plus this as its longest


@dataclass
class Portion:
    """What is left of one step: `left` cycles of `water_s` each, the next not before `ready_s`."""

    valve: Valve
    water_s: float
    left: int
    soak_s: float
    ready_s: float = -math.inf

    @property
    def way_to_go_s(self) -> float:
        """Time its cycles and soaks still need; 0 without a soak ahead, so that such zones keep their order."""
        return self.left * self.water_s + (self.left - 1) * self.soak_s if self.left > 1 else 0.0


@dataclass
class Job:
    """One start of one program, due `due_s` after the origin."""

    program_id: int
    name: str
    priority: int
    due_s: float
    portions: list[Portion]

    @property
    def done(self) -> bool:
        return all(portion.left == 0 for portion in self.portions)


@dataclass
class _Member:
    """One valve now open: commanded at `open_s`, its water nominally starts at `start_s`."""

    job: Job
    portion: Portion
    water_s: float
    open_s: float = 0.0
    start_s: float = 0.0

    @property
    def valve(self) -> Valve:
        return self.portion.valve


@dataclass
class Blocks:
    """Fills `commands`, `runs`, `notices` from jobs; `run` is the only thing to call.

    Only blocks that begin within [from_s, until_s) are kept: those before bring the state of the evening before, and
    the last one may run on past the end with whatever falls into it.
    """

    plant: Plant
    jobs: list[Job]
    refuse_collisions: bool = False
    from_s: float = -math.inf
    until_s: float = math.inf
    commands: list[Command] = field(default_factory=list)
    runs: list[Run] = field(default_factory=list)
    notices: list[Notice] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.delay_s = self.plant.command_delay_s
        self.free_s = -math.inf
        self.shut_s: dict[int, float] = {}
        self.pump_on_s: list[float] = []
        self.pump_off_s = -math.inf
        self.job: Job | None = None
        self.jobs = sorted(self.jobs, key=lambda job: job.due_s)
        opens_s = max((valve.opens_within_s for valve in self.plant.valves), default=0.0)
        closes_s = max((valve.closes_within_s for valve in self.plant.valves), default=0.0)
        # Between openings within a group, so that no two hand-overs fall together.
        self.stagger_s = math.ceil(3 * self.delay_s + 2 * opens_s + 2 * closes_s + 2 * GUARD_S)
        # No opening is sent earlier than this before the closing it overlaps.
        self.most_overlap_s = self.delay_s + opens_s + GUARD_S + self.delay_s
        self.refused: list[Notice] = []
        self.told: set[tuple[int, float, NoticeKind]] = set()

    def run(self) -> None:
        while self._next_block():
            pass
        late = [job for job in self.jobs if self.refuse_collisions and job.due_s < self.until_s]
        refused = self.refused + [self._refusal(job) for job in late]
        self.notices += [notice for notice in refused if self.from_s <= notice.at_s < self.until_s]

    def _next_block(self) -> bool:
        """Build the next block; False when there is none that begins before `until_s`."""
        kept = len(self.commands), len(self.runs), len(self.notices)
        if self.job is None or self.job.done:
            self.job = self._take_job()
        if self.job is None:
            return False
        ready_s = min(self._ready_s(portion) for portion in self.job.portions if portion.left)
        start_s = max(self.free_s, self.job.due_s, ready_s)
        if start_s >= self.until_s:
            self._forget(kept)
            return False
        if ready_s > self.free_s and self.job.due_s < self.free_s:
            self._tell_pause(self.job, ready_s - self.free_s)
        self._block(float(math.ceil(start_s)))
        if start_s < self.from_s:
            self._forget(kept)
        return True

    def _forget(self, kept: tuple[int, int, int]) -> None:
        """Drop what was added since: it belongs to the days before or after."""
        commands, runs, notices = kept
        del self.commands[commands:], self.runs[runs:], self.notices[notices:]

    # Which program, which zones

    def _take_job(self) -> Job | None:
        while self.jobs:
            at_s = max(self.free_s, self.jobs[0].due_s)
            due = [job for job in self.jobs if job.due_s <= at_s]
            job = min(due, key=lambda job: (job.priority, job.due_s))
            self.jobs.remove(job)
            if self.refuse_collisions and self.free_s > job.due_s:
                self.refused.append(self._refusal(job))
                continue
            self._tell_queued(job, at_s)
            return job
        return None

    def _refusal(self, job: Job) -> Notice:
        text = f"{job.name} is not run: another program is still watering at its start"
        return Notice(NoticeKind.REFUSED, text, job.due_s, 0.0, job.program_id)

    def _ready_s(self, portion: Portion) -> float:
        return max(portion.ready_s, self.shut_s.get(portion.valve.id, -math.inf))

    def _pick(self, job: Job, opens_at: Callable[[Valve], float | None]) -> list[_Member]:
        """Of the zones ready at the time they could open, the one with the longest way of soaks to go, else the next
        in order; with others that may water together."""
        for portion in sorted(job.portions, key=lambda portion: -portion.way_to_go_s):
            at_s = opens_at(portion.valve)
            if portion.left and at_s is not None and self._ready_s(portion) <= at_s:
                return self._companions(job, portion, opens_at)
        return []

    def _companions(self, job: Job, first: Portion, opens_at: Callable[[Valve], float | None]) -> list[_Member]:
        """Shortest first. Each must be ready for the opening time it would have as the first of the group."""
        group = [first]
        for portion in job.portions:
            if len(group) >= self.plant.most_open or first.water_s < 3 * self.stagger_s:
                break
            at_s = opens_at(portion.valve)
            ready = portion.left and at_s is not None and self._ready_s(portion) <= at_s
            other_valve = portion.valve.id not in {member.valve.id for member in group}
            if ready and other_valve and portion.water_s >= 3 * self.stagger_s and self._fed([*group, portion]):
                group.append(portion)
        group.sort(key=lambda portion: portion.water_s)
        return [_Member(job, portion, portion.water_s) for portion in group]

    def _fed(self, group: list[Portion]) -> bool:
        """Whether the supply surely feeds them together; unknown flows are not put together."""
        flows = [portion.valve.flow_l_min for portion in group]
        if self.plant.supply_l_min is None or None in flows:
            return False
        return sum(flow or 0.0 for flow in flows) <= self.plant.supply_l_min

    # One block: from all shut to all shut

    def _block(self, start_s: float) -> None:
        assert self.job is not None
        group = self._pick(self.job, lambda _: start_s)
        pump_on_s = self._open_first(group, self._when_pump_may_start(start_s, group[0].valve))
        while True:
            following = self._hand_over(group)
            if not following:
                break
            group = following
        self._close_last(group[-1], pump_on_s)

    def _pump_lead_s(self, valve: Valve) -> float:
        """From the opening command to the pump's start command."""
        assert self.plant.pump is not None
        opens_s = valve.opens_within_s
        if self.plant.master is not None:
            opens_s = max(opens_s, self.plant.master.opens_within_s)
        return math.ceil(self.delay_s + opens_s + self.plant.pump.prime_delay_s + GUARD_S)

    def _when_pump_may_start(self, start_s: float, valve: Valve) -> float:
        """The opening time, put off until the pump has rested and its starts an hour allow another."""
        pump = self.plant.pump
        if pump is None:
            return start_s
        lead_s = self._pump_lead_s(valve)
        rested_s = self.pump_off_s + self.delay_s + pump.minimum_rest_s
        most = pump.most_starts_per_hour
        if len(self.pump_on_s) >= most:
            rested_s = max(rested_s, self.pump_on_s[-most] + self.delay_s + HOUR_S)
        if rested_s - lead_s <= start_s:
            return start_s
        later_s = float(math.ceil(rested_s - lead_s))
        text = f"waits {later_s - start_s:.0f} s for the pump's rest or its starts an hour"
        self._tell(NoticeKind.PUMP_WAIT, text, self.job, start_s, later_s - start_s)
        return later_s

    def _open_first(self, group: list[_Member], at_s: float) -> float:
        """Open the master valve and the group, start the pump; the pump's start time, or `at_s` without one."""
        first, master = group[0], self.plant.master
        if master is not None:
            self._send(at_s, Action.OPEN_MASTER)
            if self.plant.pump is None:
                at_s += math.ceil(self.delay_s + master.opens_within_s)
        self._open(first, at_s)
        flows_s = at_s
        if self.plant.pump is not None:
            flows_s = at_s + self._pump_lead_s(first.valve)
            self._send(flows_s, Action.START_PUMP)
            self.pump_on_s.append(flows_s)
            first.start_s = flows_s + self.delay_s / 2
        self._open_others(group, flows_s)
        return flows_s

    def _open(self, member: _Member, at_s: float) -> None:
        member.open_s = at_s
        strokes_s = (member.valve.opens_from_s + member.valve.opens_within_s) / 2
        member.start_s = at_s + self.delay_s / 2 + strokes_s
        member.portion.left -= 1
        self._send(at_s, Action.OPEN_VALVE, member.valve.id)

    def _open_others(self, group: list[_Member], first_s: float) -> None:
        for position, member in enumerate(group[1:], start=1):
            self._open(member, first_s + position * self.stagger_s)
        for member in group[:-1]:
            self._close(member, self._close_s(member))

    def _close_s(self, member: _Member) -> float:
        """When to send the closing so that the nominal water is as asked."""
        strokes_s = (member.valve.closes_from_s + member.valve.closes_within_s) / 2
        return float(round(member.start_s + member.water_s - self.delay_s / 2 - strokes_s))

    def _close(self, member: _Member, at_s: float, *, by_command: bool = True) -> None:
        if by_command:
            self._send(at_s, Action.CLOSE_VALVE, member.valve.id)
        shut_s = at_s + self.delay_s + member.valve.closes_within_s
        self.shut_s[member.valve.id] = shut_s
        member.portion.ready_s = shut_s + member.portion.soak_s
        self.runs.append(
            Run(member.valve.id, member.job.program_id, member.open_s, at_s, member.water_s, member.job.due_s)
        )

    # Hand-over and end

    def _hand_over(self, group: list[_Member]) -> list[_Member]:
        """Open the next group while the last valve of this one closes; empty if the block ends here."""
        assert self.job is not None
        last = group[-1]
        close_s = self._close_s(last)

        def opens_at(valve: Valve) -> float | None:
            if valve.id == last.valve.id or not self._may_hand_over(last.valve, valve):
                return None
            return close_s - self._overlap_s(last.valve, valve)

        job = self.job
        if job.done:
            waiting = [other for other in self.jobs if other.due_s <= close_s - self.most_overlap_s]
            if not waiting or self.refuse_collisions:
                return []
            job = min(waiting, key=lambda other: (other.priority, other.due_s))
        following = self._pick(job, opens_at)
        if not following:
            self._tell_no_hand_over(job, last.valve, close_s)
            return []
        if job is not self.job:
            self.jobs.remove(job)
            self._tell_queued(job, close_s)
            self.job = job
        self._close(last, close_s, by_command=not self.plant.interlocked)
        open_s = close_s - self._overlap_s(last.valve, following[0].valve)
        self._open(following[0], open_s)
        self._open_others(following, open_s)
        return following

    def _may_hand_over(self, closing: Valve, opening: Valve) -> bool:
        free = self.plant.runs_through or not self.plant.flow_must_not_stop
        return free or self.plant.can_hand_over(closing, opening)

    def _overlap_s(self, closing: Valve, opening: Valve) -> float:
        """How long before the closing command the opening one is sent."""
        if self.plant.interlocked or not self.plant.flow_must_not_stop:
            return 0.0
        lead_s = self.delay_s + opening.opens_within_s - closing.closes_from_s + GUARD_S
        return float(max(0, math.ceil(lead_s)))

    def _close_last(self, last: _Member, pump_on_s: float) -> None:
        pump, master = self.plant.pump, self.plant.master
        if pump is None:
            close_s = self._close_s(last)
        else:
            stop_s = self._stop_s(last, pump_on_s)
            self._send(stop_s, Action.STOP_PUMP)
            self.pump_off_s = stop_s
            close_s = stop_s + math.ceil(self.delay_s + pump.run_down_s + GUARD_S)
        self._close(last, close_s)
        self.free_s = math.ceil(self.shut_s[last.valve.id] + GUARD_S)
        if master is not None:
            self._send(self.free_s, Action.CLOSE_MASTER)
            self.free_s += math.ceil(self.delay_s + master.closes_within_s + GUARD_S)

    def _stop_s(self, last: _Member, pump_on_s: float) -> float:
        """When to stop the pump; later than the zone asks if the pump's minimum run is longer."""
        assert self.plant.pump is not None
        stop_s = float(round(last.start_s + last.water_s - self.delay_s / 2))
        soonest_s = float(math.ceil(pump_on_s + self.delay_s + self.plant.pump.minimum_run_s))
        if soonest_s > stop_s:
            extra_s = soonest_s - stop_s
            text = f"{last.valve.name} runs {extra_s:.0f} s longer so that the pump meets its minimum run"
            self._tell(NoticeKind.EXTENDED, text, last.job, stop_s, extra_s)
            last.water_s += extra_s
        return max(stop_s, soonest_s)

    # Words

    def _send(self, at_s: float, action: Action, valve_id: int | None = None) -> None:
        self.commands.append(Command(float(at_s), action, valve_id))

    def _tell(self, kind: NoticeKind, text: str, job: Job | None, at_s: float, seconds: float) -> None:
        self.notices.append(Notice(kind, text, at_s, seconds, job.program_id if job else None))

    def _tell_once(self, kind: NoticeKind, text: str, job: Job, at_s: float, seconds: float) -> None:
        if (job.program_id, job.due_s, kind) not in self.told:
            self.told.add((job.program_id, job.due_s, kind))
            self._tell(kind, text, job, at_s, seconds)

    def _tell_queued(self, job: Job, at_s: float) -> None:
        waits_s = at_s - job.due_s
        if waits_s > 1:
            text = f"{job.name} waits {waits_s / 60:.0f} min for another program"
            self._tell(NoticeKind.QUEUED, text, job, job.due_s, waits_s)

    def _tell_pause(self, job: Job, seconds: float) -> None:
        text = f"{job.name} pauses {seconds / 60:.0f} min: all its zones are soaking"
        self._tell(NoticeKind.SOAK_WAIT, text, job, self.free_s, seconds)

    def _tell_no_hand_over(self, job: Job, closing: Valve, at_s: float) -> None:
        blocked = [p.valve for p in job.portions if p.left and not self._may_hand_over(closing, p.valve)]
        if blocked:
            text = (
                f"flow stops at each hand-over: outputs are interlocked and {closing.name} may be shut"
                f" {blocked[0].opens_within_s - closing.closes_from_s:.0f} s before {blocked[0].name} is open"
            )
            self._tell_once(NoticeKind.PUMP_STOP, text, job, at_s, 0.0)
        elif self.plant.pump is not None:
            self._tell_once(NoticeKind.PUMP_STOP, f"{job.name}: the pump stops for a soak", job, at_s, 0.0)
