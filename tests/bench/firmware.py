"""The firmware on its chip: size, time, and how soon it acts, in device time."""

from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path
from statistics import median
from tempfile import TemporaryDirectory

from daq.firmware import build
from tests.contract import stranger
from tests.contract.rows import readings
from tests.firmware.capture_checks import PERIODS_NS, waits
from tests.firmware.checks import SPIN, shift, spun
from tests.firmware.pins import Bench

BAUDS = (115_200, 250_000, 500_000, 1_000_000)
LAG_US = 4_000


def _open_loop(bench: Bench) -> None:
    bench.firmware.wired.stop_loop_open = True


STOP_FRAME = b"\0" + stranger.frame(stranger.STOP, 900, b"\x01")
ACTS: dict[str, Callable[[Bench], None]] = {
    "a stop, from the host's first byte": lambda b: b.firmware.write(STOP_FRAME),
    "the stop loop opens": _open_loop,
    "current above its limit, three readings": lambda b: shift(b, bus_a=8.0),
}


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
        for period_ns in PERIODS_NS:
            yield from _capturing(command, size.ram_bytes, period_ns)
        for name, act in ACTS.items():
            yield f"pulse at zero: {name}", _after(command, act, 3 if quick else 10)
        over = ACTS["current above its limit, three readings"]
        for channel in ("current", "voltage"):
            name = f"pulse at zero: current above its limit, {channel} captured"
            yield name, _after(command, over, 3 if quick else 10, channel)
        for baud in BAUDS:
            at = build.emulated(bench, build.chip(folder, baud=baud), baud)
            yield f"readings a second at {baud} baud", _sustained(at)


def _use(command: list[str], ram_bytes: int) -> Iterator[tuple[str, str]]:
    bench = Bench(command, LAG_US)
    try:
        spun(bench)
        load = bench.load(partial(bench.hold, SPIN, 1000))
    finally:
        bench.close()
    ram = ram_bytes + load.stack_bytes
    part = 100 * ram / build.RAM_BYTES
    yield "RAM with the deepest stack", f"{ram} bytes, {part:.0f} % of the chip's"
    yield "processor, spinning, 500 readings/s", f"{100 * load.busy_share:.0f} % busy"


def _capturing(
    command: list[str], ram_bytes: int, period_ns: int
) -> Iterator[tuple[str, str]]:
    """Load while a ring waits, and samples that a capture has not, spinning."""
    rate = f"{1e6 / period_ns:.1f} thousand samples/s"
    bench = Bench(command, LAG_US)
    try:
        spun(bench)
        waits(bench, "voltage", period_ns=period_ns)
        bench.hold(SPIN, 20)
        load = bench.load(partial(bench.hold, SPIN, 1000))
        missing = total = 0
        for number in range(100, 120):
            changes = {"number": number, "count": 256, "period_ns": period_ns}
            body = bench.capture_body("voltage", **changes)
            begin = len(bench.heard)
            bench.send(stranger.CAPTURE, body)
            bench.hold(SPIN, 80)
            for message in bench.heard[begin:]:
                if message["type"] == "burst" and message["number"] == number:
                    missing += message["samples"].count(stranger.NO_SAMPLE)
                    total += len(message["samples"])
    finally:
        bench.close()
    ram = 100 * (ram_bytes + load.stack_bytes) / build.RAM_BYTES
    busy = f"{100 * load.busy_share:.0f} % busy, RAM {ram:.0f} % at the deepest stack"
    yield f"processor, spinning, a capture waits at {rate}", busy
    yield f"samples missing at {rate}", f"{100 * missing / total:.1f} %"


def _after(
    command: list[str],
    act: Callable[[Bench], None],
    times: int,
    captured: str = "",
) -> str:
    """From an act to a pulse at zero, from as many places in the servo frame."""
    taken = []
    for number in range(times):
        bench = Bench(command, LAG_US)
        try:
            bench.ready()
            amps = bench.limit("current", high=6.0, persistence=3)
            bench.take_limits([bench.limit("voltage"), amps])
            bench.arm()
            if captured:
                waits(bench, captured)
            bench.hold(SPIN, 60 + number)
            since_us = bench.pin_us
            act(bench)
            bench.hold(SPIN, 60)
            taken.append(bench.falls(since_us) * 1e-3)
        finally:
            bench.close()
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
