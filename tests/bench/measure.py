"""Times our code and its floor in turns, so that what slows the machine slows both.

A *floor* is work of the same size that nobody can do without (reading the same rows, parsing the same text);
the ratio of ours to it says more about the code than milliseconds, which say more about the machine.
"""

from __future__ import annotations

import gc
import statistics
import time
from collections.abc import Callable
from dataclasses import dataclass

BLOCKS = 5
Work = Callable[[], object]


@dataclass(frozen=True, slots=True)
class Result:
    """One row of the table. Times in milliseconds.

    :ivar ratios: lowest and highest of the blocks' medians, ours over the floor's; None without a floor
    :ivar spread: p95 / p50 of ours
    :ivar queries: how many database queries one call makes, None where it makes none by its nature
    :ivar goal: in words; `met` None where there is none to meet
    """

    work: str
    size: str
    floor_ms: float | None
    ours_ms: float
    ratios: tuple[float, float] | None
    spread: float
    queries: int | None = None
    goal: str = ""
    met: bool | None = None

    def as_json(self) -> dict[str, object]:
        """Return the row for `--json`."""
        return {
            "work": self.work,
            "size": self.size,
            "floor_ms": self.floor_ms,
            "ours_ms": self.ours_ms,
            "ratio": None if self.ratios is None else {"lowest": self.ratios[0], "highest": self.ratios[1]},
            "p95_over_p50": self.spread,
            "queries": self.queries,
            "goal": self.goal,
            "met": self.met,
        }


def measure(
    work: str,
    size: str,
    ours: Work,
    *,
    floor: Work | None = None,
    goal_ms: float | None = None,
    calls: int = 100,
    floor_calls: int | None = None,
    blocks: int = BLOCKS,
    queries: int | None = None,
) -> Result:
    """Return the times of `ours` and of its floor, in turns over at least five blocks.

    :param goal_ms: the goal for the median of all blocks
    :param calls: calls in one block
    """
    ours(), floor() if floor else None  # nothing is cold
    our_times: list[float] = []
    our_medians, floor_medians = [], []
    for _ in range(max(blocks, BLOCKS)):
        if floor is not None:
            floor_medians.append(statistics.median(_times(floor, floor_calls or calls)))
        times = _times(ours, calls)
        our_medians.append(statistics.median(times))
        our_times += times
    ratios = [ours / floor for ours, floor in zip(our_medians, floor_medians, strict=False)]
    middle = statistics.median(our_times)
    return Result(
        work=work,
        size=size,
        floor_ms=statistics.median(floor_medians) if floor_medians else None,
        ours_ms=middle,
        ratios=(min(ratios), max(ratios)) if ratios else None,
        spread=statistics.quantiles(our_times, n=20)[-1] / middle,
        queries=queries,
        goal="" if goal_ms is None else f"<= {goal_ms:g} ms",
        met=None if goal_ms is None else middle <= goal_ms,
    )


def _times(work: Work, calls: int) -> list[float]:
    """Return the time of each call [ms]; the collector of cycles stays out of it."""
    gc.collect()
    gc.disable()
    try:
        times = []
        for _ in range(calls):
            began = time.perf_counter()
            work()
            times.append((time.perf_counter() - began) * 1000)
        return times
    finally:
        gc.enable()


def table(results: list[Result]) -> str:
    """Return the rows as a table of text."""
    head = ("work", "size", "floor ms", "ours ms", "ratio", "p95/p50", "queries", "goal", "")
    rows = [head, *(_row(result) for result in results)]
    widths = [max(len(row[column]) for row in rows) for column in range(len(head))]
    return "\n".join(
        "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip() for row in rows
    )


def _row(result: Result) -> tuple[str, ...]:
    met = "" if result.met is None else "met" if result.met else "MISSED"
    return (
        result.work,
        result.size,
        "-" if result.floor_ms is None else f"{result.floor_ms:.4f}",
        f"{result.ours_ms:.3f}",
        "-" if result.ratios is None else f"{result.ratios[0]:.2f}-{result.ratios[1]:.2f}",
        f"{result.spread:.2f}",
        "-" if result.queries is None else str(result.queries),
        result.goal or "-",
        met,
    )
