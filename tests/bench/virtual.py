"""How much faster than real time a whole spin goes: plant, wire, core."""

import time

from daq.stand.device import TICK_S, Device
from daq.stand.plant.bench import Plant
from daq.stand.plant.truth import shipped_truth
from tests.spins import plan, spin, task


def measure(quick: bool) -> list[tuple[str, str]]:
    device = Device(Plant(shipped_truth(), 1))
    ticks = 10_000 if quick else 60_000
    begin_s = time.perf_counter()
    for _ in range(ticks // 2):
        device.advance(2)
    stand = ticks * TICK_S / (time.perf_counter() - begin_s)
    run = spin(task(walked=plan((0.3, 0.6, 0.9), dwell_s=2.0 if quick else 10.0)))
    run.keep_records = False
    begin_s = time.perf_counter()
    run.run()
    whole = run.elapsed_s / (time.perf_counter() - begin_s)
    return [
        ("the stand alone: plant at 1 ms, 500 Hz wire", f"{stand:.0f} x real time"),
        ("a whole spin: stand, wire, session, guard", f"{whole:.0f} x real time"),
    ]
