"""A campaign's numbers worked through by several processes, and gone on with later."""

import json
import os
import sys
from collections.abc import Callable, Iterable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict
from pathlib import Path
from typing import Any, ClassVar, Final, Protocol, TypeVar

from daq.machine_clock import MachineClock

TOLD_EVERY: Final = 50


class Seeded(Protocol):
    """What comes of one number, a dataclass."""

    __dataclass_fields__: ClassVar[dict[str, Any]]

    @property
    def seed(self) -> int:
        """The number."""


ResultT = TypeVar("ResultT", bound=Seeded)


def pooled(
    work: Callable[[int], ResultT],
    seeds: Iterable[int],
    processes: int,
    kept: Path | None,
    read: Callable[[dict[str, Any]], ResultT],
) -> list[ResultT]:
    """What comes of all of them, in order; how it goes on the error stream.

    Args:
        work: from a number to what comes of it.
        seeds: the numbers.
        processes: at a time.
        kept: a file of results, a JSON line each; what is in it is not done again.
        read: a result from the values of a line.
    """
    numbers = list(seeds)
    text = kept.read_text("utf-8") if kept is not None and kept.exists() else ""
    before = [read(json.loads(line)) for line in text.splitlines()]
    found = {result.seed: result for result in before}
    left = [seed for seed in numbers if seed not in found]
    clock = MachineClock()
    begun_s = clock.now_s()
    with (
        ProcessPoolExecutor(processes) as pool,
        (kept or Path(os.devnull)).open("a", encoding="utf-8") as out,
    ):
        for number, result in enumerate(pool.map(work, left, chunksize=4), 1):
            found[result.seed] = result
            print(json.dumps(asdict(result)), file=out, flush=True)
            if number % TOLD_EVERY == 0:
                words = f"{number} of {len(left)}, {clock.now_s() - begun_s:.0f} s"
                print(words, file=sys.stderr, flush=True)
    return [found[seed] for seed in numbers]
