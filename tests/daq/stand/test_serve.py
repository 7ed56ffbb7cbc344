"""The simulated stand behind a real port, and as a program of its own."""

import json
import os
import subprocess
import sys
import threading
from collections.abc import Iterator
from importlib import resources
from pathlib import Path
from typing import TypeVar

import pytest

from daq.clock import JumpingClock
from daq.errors import InputFault, WorldFault
from daq.link import messages as m
from daq.link.framing import Deframer, frame
from daq.link.ports import Port, PortFault, PortLost, open_port
from daq.machine_clock import MachineClock
from daq.stand.device import Device
from daq.stand.endpoint import Endpoint, open_endpoint
from daq.stand.plant.bench import Plant
from daq.stand.serve import Server, build
from tests.daq.stand.plant.builder import QUIET, changed

Heard = TypeVar("Heard", m.Identity, m.Event, m.Counters)
READS = 20_000  # at least a byte each, or 50 ms: the test's timeout ends it sooner
LOOKS = 200
TCP = [
    pytest.param(
        False,
        marks=pytest.mark.skipif(not hasattr(os, "openpty"), reason="no terminals"),
        id="terminal",
    ),
    pytest.param(True, id="tcp"),
]


class Running:
    """A server in a thread of its own."""

    def __init__(self, *, tcp: bool) -> None:
        self.device = Device(Plant(changed(QUIET), 1))
        self.server = Server(self.device, open_endpoint(tcp=tcp), MachineClock())
        self._thread = threading.Thread(target=self.server.run)
        self._thread.start()

    def end(self) -> None:
        self.server.end()
        self._thread.join(10.0)
        assert not self._thread.is_alive()


@pytest.fixture(params=TCP)
def running(request: pytest.FixtureRequest) -> Iterator[Running]:
    served = Running(tcp=request.param)
    try:
        yield served
    finally:
        served.end()


def wait_for(port: Port, kind: type[Heard]) -> Heard:
    """The next message of a kind."""
    deframer = Deframer()
    for _ in range(READS):
        for payload in deframer.feed(port.read()):
            message = m.decode_from_stand(payload)
            if isinstance(message, kind):
                return message
    raise AssertionError(f"no {kind.__name__} came")


def read_on(port: Port) -> None:
    """Read whatever is left."""
    for _ in range(READS):
        port.read()


def ask_who(port: Port) -> m.Identity:
    port.write(b"\0" + frame(m.encode(m.Who(), 0)))
    return wait_for(port, m.Identity)


# --- Endpoints ----------------------------------------------------------------------


def test_a_stand_answers_on_its_port(running: Running) -> None:
    port = open_port(running.server.name)
    try:
        identity = ask_who(port)
        assert identity.board == "simulated"
    finally:
        port.close()


def test_a_port_can_be_opened_again(running: Running) -> None:
    for _ in range(2):
        port = open_port(running.server.name)
        try:
            assert ask_who(port).boot == 1
        finally:
            port.close()


def test_the_side_door_is_used_between_ticks(running: Running) -> None:
    port = open_port(running.server.name)
    try:
        ask_who(port)
        running.server.between_ticks(lambda device: device.reset(m.Cause.WATCHDOG))
        event = wait_for(port, m.Event)
        assert event.cause is m.Cause.WATCHDOG
    finally:
        port.close()


def test_the_port_vanishes_when_the_server_ends(running: Running) -> None:
    port = open_port(running.server.name)
    try:
        ask_who(port)
        running.end()
        with pytest.raises(PortLost, match="is gone"):
            read_on(port)
        with pytest.raises(PortFault):
            open_port(running.server.name)
    finally:
        port.close()


@pytest.mark.skipif(not hasattr(os, "openpty"), reason="no terminals")
def test_what_nobody_reads_is_dropped_and_counted() -> None:
    running = Running(tcp=False)
    try:
        port = open_port(running.server.name)
        # A terminal holds a few kilobytes; a stand says twelve a second or more.
        asked = threading.Event()
        for _ in range(LOOKS):
            running.server.between_ticks(
                lambda device: asked.set() if device.unsent else None
            )
            if asked.wait(0.1):
                break
        assert asked.is_set()
        assert any(wait_for(port, m.Counters).unsent for _ in range(LOOKS))
        assert ask_who(port).boot == 1  # and it goes on as if nothing had been
        port.close()
    finally:
        running.end()


class Scripted:
    """An endpoint without a port: what a test says, and what the server wrote."""

    name = "scripted"

    def __init__(self, clock: JumpingClock, step_s: float, reads: int) -> None:
        self.clock, self.step_s, self.left = clock, step_s, reads
        self.server: Server[Device] | None = None
        self.written: list[bytes] = []
        self.takes = True
        self.closed = False

    def read(self, wait_s: float) -> bytes:
        self.clock.sleep(self.step_s)
        self.left -= 1
        if self.left <= 0 and self.server is not None:
            self.server.end()
        return b""

    def write(self, data: bytes) -> bool:
        self.written.append(data)
        return self.takes

    def close(self) -> None:
        self.closed = True


def run_scripted(endpoint: Scripted) -> Device:
    device = Device(Plant(changed(QUIET), 1))
    fits: Endpoint = endpoint
    endpoint.server = Server(device, fits, endpoint.clock)
    endpoint.server.run()
    return device


def test_device_time_is_the_clocks() -> None:
    endpoint = Scripted(JumpingClock(50.0), 0.0037, 1000)
    device = run_scripted(endpoint)
    assert device.time_us == pytest.approx(3_700_000, abs=5_000)
    assert endpoint.closed


def test_a_server_that_was_held_up_catches_up_in_small_portions() -> None:
    """So that a command that waited is not overtaken by a second of device time."""
    clock = JumpingClock()
    endpoint = Scripted(clock, 0.0, 40)
    device = Device(Plant(changed(QUIET), 1))
    endpoint.server = Server(device, endpoint, clock)
    endpoint.server.between_ticks(lambda _: clock.sleep(0.2))
    endpoint.server.run()
    assert device.time_us == 200_000
    assert len(endpoint.written) == 20


def test_frames_that_did_not_go_are_counted_as_unsent() -> None:
    endpoint = Scripted(JumpingClock(), 0.002, 200)
    endpoint.takes = False
    device = run_scripted(endpoint)
    assert device.unsent == len(endpoint.written) > 100


# --- As a program -------------------------------------------------------------------


def start(*options: str) -> subprocess.Popen[bytes]:
    return subprocess.Popen(
        [sys.executable, "-m", "daq.stand.serve", *options],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    )


@pytest.mark.parametrize("options", [[], ["--tcp"], ["--seed", "4"]])
def test_the_program_prints_its_port_and_ends_with_its_input(
    options: list[str],
) -> None:
    with start(*options) as program:
        try:
            assert program.stdout is not None
            told = json.loads(program.stdout.readline())
            assert list(told) == ["port"]
            port = open_port(told["port"])
            try:
                assert ask_who(port).boot == 1
                rest, errors = program.communicate(timeout=30)  # closes its input
                assert (program.returncode, rest, errors) == (0, b"", b"")
                with pytest.raises(PortLost):
                    read_on(port)
            finally:
                port.close()
        finally:
            program.kill()


def test_a_bad_truth_file_is_one_line_and_status_1(tmp_path: Path) -> None:
    bad = tmp_path / "truth.toml"
    bad.write_text("title = 3\n", encoding="utf-8")
    for path in (bad, tmp_path / "missing.toml"):
        with start("--truth", str(path)) as program:
            out, errors = program.communicate(timeout=30)
        assert program.returncode == 1
        assert errors == b""
        (line,) = out.splitlines()
        told = json.loads(line)
        assert list(told) == ["error"]
        assert path.name in told["error"]


def test_a_stand_is_built_over_the_shipped_truth_by_default() -> None:
    assert build(None, 1).channels[0].name == "thrust"


# --- Faults and hands ---------------------------------------------------------------


def test_a_faults_file_takes_effect_behind_the_port(tmp_path: Path) -> None:
    faults = tmp_path / "faults.toml"
    faults.write_text(
        '[[fault]]\nkind = "reset"\nstart_s = 0.5\ncause = "watchdog"\n', "utf-8"
    )
    with start("--faults", str(faults)) as program:
        try:
            assert program.stdout is not None
            port = open_port(json.loads(program.stdout.readline())["port"])
            try:
                causes = [wait_for(port, m.Event).cause]
                while causes[-1] is not m.Cause.WATCHDOG:
                    causes.append(wait_for(port, m.Event).cause)
                assert ask_who(port).boot == 2
            finally:
                port.close()
        finally:
            program.kill()


def test_a_bad_faults_file_is_one_line_and_status_1(tmp_path: Path) -> None:
    bad = tmp_path / "faults.toml"
    bad.write_text('[[fault]]\nkind = "rest"\n', "utf-8")
    with start("--faults", str(bad)) as program:
        out, errors = program.communicate(timeout=30)
    assert (program.returncode, errors) == (1, b"")
    told = json.loads(out)
    assert "faults.toml: fault 1: kind" in told["error"]
    assert "reset was probably meant" in told["error"]


def test_orders_on_its_input_are_done_and_answered_one_by_one() -> None:
    orders = [
        ('{"plug": "out"}', {"done": {"plug": "out"}}),
        ('{"loop": "open"}', {"done": {"loop": "open"}}),
        ('{"plug": "in"}', {"done": {"plug": "in"}}),
        ('{"loop": "closed"}', {"done": {"loop": "closed"}}),
        ('{"plug": "half"}', "error"),
        ('{"door": "open"}', "error"),
        ('{"plug": "in", "loop": "open"}', "error"),
        ("plug out", "error"),
        ("[1]", "error"),
        ("\N{SNOWMAN}", "error"),
    ]
    with start() as program:
        try:
            assert program.stdin is not None
            assert program.stdout is not None
            program.stdout.readline()
            for line, answer in orders:
                program.stdin.write(line.encode() + b"\n")
                program.stdin.flush()
                told = json.loads(program.stdout.readline())
                if answer == "error":
                    assert list(told) == ["error"]
                    assert told["error"].endswith(".")
                else:
                    assert {"done": told["done"]} == answer
                    assert told["told"].endswith(".")
            rest, errors = program.communicate(timeout=30)
            assert (program.returncode, rest, errors) == (0, b"", b"")
        finally:
            program.kill()


def test_a_stand_may_begin_with_its_plug_out_and_no_volt_on_the_bus() -> None:
    stand = build(None, 1, plug_in=False)
    assert stand.bench.bus_v == 0.0
    stand.advance(100)
    assert stand.bench.bus_v == 0.0
    stand.plug_in = True
    stand.advance(10)
    assert stand.bench.bus_v > 12.0


def test_a_stand_may_begin_without_a_propeller(tmp_path: Path) -> None:
    faults = tmp_path / "faults.toml"
    faults.write_text('[[fault]]\nkind = "hot-motor"\nstart_s = 0.1\n', "utf-8")
    for bare in (True, False):
        bench = build(None, 1, faults, bare=bare).bench
        bench.advance(1.0, 1e-3)
        bench.advance(0.5, 1.2e-3)
        assert bench.state.speed_rad_s > 1000.0
        assert bare == (bench.state.thrust_n == 0.0)


def test_what_is_asked_of_a_server_that_ended_is_refused() -> None:
    endpoint = Scripted(JumpingClock(), 0.001, 5)
    run_scripted(endpoint)
    assert endpoint.server is not None
    with pytest.raises(WorldFault, match="has ended"):
        endpoint.server.ask(lambda: None)


def test_a_stand_mounted_again_is_the_same_stand_with_other_noise() -> None:
    rough = Path(str(resources.files("daq.stand.truths").joinpath("rough.toml")))
    first, again = (
        build(rough, 3, specimen=0, mounting=number).bench for number in (0, 1)
    )
    other = build(rough, 4, specimen=0, mounting=0).bench
    numbers = [build(rough, seed, specimen=0, mounting=0).stand_id for seed in (3, 4)]
    assert numbers[0] != numbers[1]
    assert first.true_counts_per_unit == again.true_counts_per_unit
    assert first.true_counts_per_unit != other.true_counts_per_unit
    assert first.truth.motor == again.truth.motor
    assert first.truth.arm != again.truth.arm
    noises = [bench.conversions("current", 10, 10) for bench in (first, again)]
    assert noises[0] != noises[1]


def test_the_capacitor_can_be_left_off_the_same_stand() -> None:
    rough = Path(str(resources.files("daq.stand.truths").joinpath("rough.toml")))
    fitted, bare = (
        build(rough, 3, capacitor=capacitor).bench for capacitor in (True, False)
    )
    assert fitted.truth.bus_capacitor is not None
    assert bare.truth.bus_capacitor is None
    assert bare.truth.motor == fitted.truth.motor
    assert bare.true_counts_per_unit == fitted.true_counts_per_unit


def test_a_stand_without_a_capacitor_has_none_to_leave_off() -> None:
    with pytest.raises(InputFault, match=r"no \[bus_capacitor\]"):
        build(None, 1, capacitor=False)


def test_a_truth_without_scatter_cannot_be_mounted_again() -> None:
    with pytest.raises(InputFault, match="no \\[scatter\\]"):
        build(None, 1, mounting=1)
