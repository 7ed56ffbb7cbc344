"""The firmware on its chip: size, time, and how soon it acts, in device time."""

from collections.abc import Callable, Iterator
from pathlib import Path
from statistics import median
from tempfile import TemporaryDirectory

from typing_extensions import override

from daq.firmware import build
from tests.contract.rows import readings
from tests.firmware.checks import SPIN, limit_cuts, loop_cuts, spun, stop_cuts
from tests.firmware.pins import Bench

BAUDS = (115_200, 250_000, 500_000, 1_000_000)
LAG_US = 4_000


class _Timed(Bench):
    """Keeps how long the pulse took to fall."""

    fell_us: float = 0.0

    @override
    def falls(self, since_us: float) -> float:
        self.fell_us = super().falls(since_us)
        return self.fell_us


def measure(quick: bool) -> Iterator[tuple[str, str]]:
    """One row a figure; all times are the device's own."""
    with TemporaryDirectory() as scratch:
        folder = Path(scratch)
        bench = build.emulator(folder)
        image = build.chip(folder)
        command = build.emulated(bench, image)
        size = build.size_of(image)
        flash = 100 * size.flash_bytes / build.FLASH_BYTES
        yield "flash", f"{size.flash_bytes} bytes, {flash:.0f} % of the chip's"
        yield from _use(command, size.ram_bytes)
        for name, check in (
            ("a stop, from the host's first byte", stop_cuts),
            ("the stop loop opens", loop_cuts),
            ("current above its limit, three readings", limit_cuts),
        ):
            yield f"pulse at zero: {name}", _after(command, check, 2 if quick else 8)
        for baud in BAUDS:
            at = build.emulated(bench, build.chip(folder, baud=baud), baud)
            yield f"readings a second at {baud} baud", _sustained(at)


def _use(command: list[str], ram_bytes: int) -> Iterator[tuple[str, str]]:
    bench = Bench(command, LAG_US)
    try:
        spun(bench)
        bench.ask_board("use")
        bench.hold(SPIN, 1000)
        ((_, share, stack),) = bench.ask_board("use")
    finally:
        bench.close()
    ram = ram_bytes + int(stack)
    part = 100 * ram / build.RAM_BYTES
    yield "RAM with the deepest stack", f"{ram} bytes, {part:.0f} % of the chip's"
    yield "processor, spinning, 500 readings/s", f"{100 * float(share):.0f} % busy"


def _after(command: list[str], check: Callable[[Bench], None], times: int) -> str:
    taken = []
    for number in range(times):
        bench = _Timed(command, LAG_US)
        try:
            bench.pass_ms(1 + number)  # another place in the servo frame
            check(bench)
        finally:
            bench.close()
        taken.append(bench.fell_us * 1e-3)
    return f"{median(taken):.1f} ms, worst of {times} {max(taken):.1f}"


def _sustained(command: list[str]) -> str:
    bench = Bench(command, LAG_US)
    try:
        bench.identify()
        begin = len(bench.heard)
        bench.pass_ms(2000)
        index = bench.channel("current")["index"]
        came = len(readings(bench.heard[begin:], index)) / 2
        return f"{came:.0f}, {bench.last('counters')['unsent']} frames unsent"
    finally:
        bench.close()
