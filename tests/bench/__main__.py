"""Speed, measured with one command: ``python -m tests.bench [NAME ...]``.

Ratios within one run, never absolute promises: a machine shared with others is
up to twice as slow from one run to the next. Names: decode, virtual, memory,
latency, help, stops, firmware, window, library, analysis, club. ``--quick`` shortens
memory, latency, stops, firmware, window, library, analysis and club.
"""

import argparse
import sys
from collections.abc import Callable, Iterable

from tests.bench import (
    analysis,
    club,
    decode,
    firmware,
    latency,
    library,
    memory,
    start,
    stops,
    virtual,
    window,
)

BENCHMARKS: dict[str, Callable[[bool], Iterable[tuple[str, str]]]] = {
    "decode": decode.measure,
    "virtual": virtual.measure,
    "help": start.measure,
    "memory": memory.measure,
    "latency": latency.measure,
    "stops": stops.measure,
    "firmware": firmware.measure,
    "window": window.measure,
    "library": library.measure,
    "analysis": analysis.measure,
    "club": club.measure,
}


def main() -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.bench", description=__doc__)
    parser.add_argument("names", nargs="*", help="which (default: all)")
    parser.add_argument("--quick", action="store_true", help="shorter, less certain")
    options = parser.parse_args()
    for name in options.names or BENCHMARKS:
        if name not in BENCHMARKS:
            parser.error(f"no benchmark {name}; there are {', '.join(BENCHMARKS)}")
        for what, figure in BENCHMARKS[name](options.quick):
            print(f"{name:<9}{what:<64}{figure}", flush=True)
    return 0


if __name__ == "__main__":
    sys.exit(main())
