"""``python -m tests.campaign.hostile``: millions of hostile bytes into both sides.

Frames and whatever is none go into what hears frames, lines into what hears lines.
Nothing may be raised but what is documented, nothing may grow, every byte, frame and
line has to be accounted for. Exit status 0 when all of that held, else 1.
"""

import argparse
import sys
import traceback
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from daq.clock import Clock
from daq.machine_clock import MachineClock
from tests.campaign import hostile_frames, hostile_lines
from tests.campaign.assault import Broken, Growth, Maker, Subject, Tally, chunks

GROWTH_MAX: Final = 8_000  # bytes kept more after than before, whatever went in
FAMILIES: Final = (hostile_frames, hostile_lines)


def every_subject() -> dict[str, Subject]:
    """Whatever bytes can go into."""
    return {name: into for one in FAMILIES for name, into in one.SUBJECTS.items()}


def makers_for(subject: str) -> dict[str, Maker]:
    """The kinds of bytes that a subject is fed with."""
    return next(one.MAKERS for one in FAMILIES if subject in one.SUBJECTS)


@dataclass(frozen=True, slots=True)
class Result:
    """One kind of bytes into one subject.

    Attributes:
        subject: into what.
        kind: of bytes.
        tally: what became of them.
        took_s: how long it took.
        broken: the law that did not hold, or "".
    """

    subject: str
    kind: str
    tally: Tally
    took_s: float
    broken: str


def assail(subject: str, kind: str, size: int, seed: int, clock: Clock) -> Result:
    """That many bytes of that kind into that."""
    tally, growth = Tally(), Growth(size)
    begun_s = clock.now_s()
    broken = ""
    try:
        source = chunks(makers_for(subject)[kind], seed, size)
        every_subject()[subject](source, growth, tally)
    except Broken as law:
        broken = str(law)
    except Exception as fault:  # noqa: BLE001 - whatever is not documented
        broken = f"{type(fault).__name__}: {fault}"
        traceback.print_exc()
    finally:
        growth.end()
    tally.grown = growth.bytes
    if growth.bytes > GROWTH_MAX and not broken:
        broken = f"{growth.bytes} bytes kept more"
    return Result(subject, kind, tally, clock.now_s() - begun_s, broken)


def table(results: Sequence[Result]) -> str:
    """One row a subject and kind."""
    lines = [
        f"{'into':<21}{'kind of bytes':<25}{'bytes':>11}{'frames':>9}{'MB/s':>7}"
        f"{'grown':>8}  law"
    ]
    for one in results:
        speed = one.tally.bytes / one.took_s / 1e6
        lines.append(
            f"{one.subject:<21}{one.kind:<25}{one.tally.bytes:>11,}"
            f"{one.tally.frames:>9,}{speed:>7.2f}{one.tally.grown:>8,}  "
            f"{one.broken or 'held'}"
        )
    return "\n".join(lines)


def seen_in(results: Sequence[Result]) -> str:
    """What was made of the bytes, by what went in."""
    lines = []
    for subject in dict.fromkeys(one.subject for one in results):
        total: Counter[str] = Counter()
        for one in results:
            if one.subject == subject:
                total += one.tally.seen
        told = ", ".join(f"{name} {number:,}" for name, number in sorted(total.items()))
        lines.append(f"{subject}: {told}")
    return "\n".join(lines)


def main() -> int:
    """Run it."""
    parser = argparse.ArgumentParser(prog="python -m tests.campaign.hostile")
    parser.add_argument("--bytes", type=int, default=10_000_000, help="into each")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--into", choices=every_subject(), action="append")
    options = parser.parse_args()
    clock = MachineClock()
    results = []
    for subject in options.into or every_subject():
        kinds = makers_for(subject)
        size = options.bytes // len(kinds)
        for kind in kinds:
            results.append(assail(subject, kind, size, options.seed, clock))
            print(table(results[-1:]).splitlines()[1], file=sys.stderr, flush=True)
    print(table(results))
    print()
    print(seen_in(results))
    return 1 if any(one.broken for one in results) else 0


if __name__ == "__main__":
    sys.exit(main())
