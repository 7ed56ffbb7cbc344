"""Whether the keeper's memory stays flat over an hour's run, in fast time."""

import resource
import tempfile
from pathlib import Path

from daq.records.wirelog import WireLog
from protocols.plan import Plan, Segment
from tests.daq.stand.plant.builder import changed
from tests.spins import spin, task
from tests.virtual import VirtualSpin

PAGE_BYTES = resource.getpagesize()


def resident_mb() -> float:
    """Resident memory of this process in megabytes."""
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * PAGE_BYTES / 1e6


def long_plan(hours: float) -> Plan:
    """Spin a little and rest, over and over."""
    segments = [Segment("rest", "rest", -1, 0.0, 0.0, 2.0)]
    for _ in range(round(hours * 3600 / 14.0)):
        segments += [
            Segment("ramp", "up", 0, 0.0, 0.15, 0.5),
            Segment("settle", "up", 0, 0.15, 0.15, 0.6),
            Segment("dwell", "up", 0, 0.15, 0.15, 10.4),
            Segment("ramp", "rest", -1, 0.15, 0.0, 0.5),
            Segment("rest", "rest", -1, 0.0, 0.0, 2.0),
        ]
    return Plan("long", "A long plan", tuple(segments))


def measure(quick: bool) -> list[tuple[str, str]]:
    hours = 0.1 if quick else 1.0
    endless = changed({"pack.capacity_c": 1e6, "load_cell.zero_drift_counts_s": 0.0})
    run = spin(task(walked=long_plan(hours)), truth=endless)
    seen: list[float] = []
    with tempfile.TemporaryDirectory() as folder:
        log = WireLog(Path(folder) / "wire.log")

        def spill(run: VirtualSpin) -> None:
            for record in run.records:
                log.append(record.kind, record.time_ns, record.data)
            run.records.clear()
            seen.append(resident_mb())
            run.at(run.elapsed_s + 30.0, spill)

        run.at(30.0, spill)
        control = run.run(until_s=hours * 3600 + 60)
        log.close()
    settled = seen[len(seen) // 6 :]
    ended = control.outcome.cause if control.outcome else "still running"
    figure = f"{settled[0]:.1f} MB, {settled[-1] - settled[0]:+.2f} MB at its end"
    return [(f"resident over {hours:g} h of spinning ({ended})", figure)]
