"""Whether surely open valves cover the whole time for which a pump may run."""

from collections.abc import Iterator

from scheduling.core.sequence.spans import Span
from scheduling.core.sequence.timeline import EPSILON_S


class Cover:
    """Whether intervals of surely open valves cover the time a pump may run."""

    def __init__(self, name: str, spans: tuple[Span, ...], intervals: list[tuple[float, float]]) -> None:
        self.name = name
        self.spans = spans
        self.intervals = sorted(interval for interval in intervals if interval[1] > interval[0])

    def margins(self, first_s: float, last_s: float) -> Iterator[tuple[float, float, str]]:
        """(margin_s, at_s, words) at the start, at each hand-over and at the end of [first_s, last_s].

        A negative margin ends it; `at_s` is then the middle of the uncovered time.
        """
        open_from: float | None = None
        reach_s = first_s
        for low, high in self.intervals:
            if high <= first_s:
                continue
            if open_from is None:
                open_from = low
                late = low > first_s + EPSILON_S
                uncovered_to = min(low, last_s) if late else low
                middle = (first_s + uncovered_to) / 2 if late else first_s
                yield first_s - uncovered_to, middle, "before the pump starts"
                if late:
                    return
                reach_s = high
                continue
            if low >= last_s or reach_s >= last_s:
                break
            if low > reach_s + EPSILON_S:
                middle = (reach_s + min(low, last_s)) / 2
                yield reach_s - min(low, last_s), middle, "between two valves while the pump runs"
                return
            if low > first_s:
                yield min(reach_s, high) - low, low, "between two valves while the pump runs"
            reach_s = max(reach_s, high)
        if open_from is None:
            yield first_s - last_s, (first_s + last_s) / 2, "while the pump runs"
            return
        middle = (reach_s + last_s) / 2
        yield reach_s - last_s, middle, "until the pump has surely stopped"
