"""A simulated stand that prints lines: what it prints is read back as it was meant."""

import itertools
import math
from dataclasses import dataclass, field

import pytest
from typing_extensions import override

from daq.link import session as s
from daq.link.columns.description import Channel, Description, read_description
from daq.link.columns.session import SIMULATED_LINE, LineSession
from daq.stand.device import ZERO_PULSE_S, Device
from daq.stand.faults.stand import FaultyStand
from daq.stand.lines import BOOT_S, MISSED_KEEP_ALIVES, LineStand
from daq.stand.plant.bench import Plant
from daq.stand.plant.truth import shipped_truth

HEAD = """
format = 1
name = "printed"
baud = 115200
form = "{form}"
{layout}
exact_decimals = true
skip = ["#"]
rate_hz = {rate_hz}
"""
TIME = """
[time]
column = "t"
unit = "{unit}"
{wraps}
"""
CHANNELS = """
[[channel]]
name = "thrust"
column = "load"
unit = "gf"
decimals = 2
scale = -0.5
offset = 3.25
kind = "mean"

[[channel]]
name = "voltage"
column = "bus"
unit = "mV"
decimals = 0

[[channel]]
name = "current"
column = "amps"
unit = "A"
decimals = 3

[[channel]]
name = "speed"
column = "tacho"
unit = "Hz"
pulses_per_turn = 7
decimals = 1
"""
COMMANDS = r"""
[commands]
throttle = "T{percent:.1f}\n"
stop = "S\n"
"""
ALIVE = 'keep_alive = "K\\n"\nkeep_alive_period_s = 0.1\n'
COLUMNS = ["t", "load", "unused", "bus", "amps", "tacho"]


def text(
    form: str = "separated",
    separator: str = "comma",
    decimal: str = ".",
    unit: str | None = "us",
    wraps_at: float | None = None,
    rate_hz: float = 80,
    more: str = COMMANDS,
) -> str:
    """A description of that form."""
    columns = COLUMNS if unit else COLUMNS[1:]
    layout = {
        "separated": f'separator = "{separator}"\ncolumns = {columns}',
        "named": f'separator = "{separator}"\nmark = ":"',
        "json": "",
    }[form].replace("'", '"')
    if decimal == ",":
        layout += '\ndecimal = ","'
    wraps = "" if wraps_at is None else f"wraps_at = {wraps_at}"
    time = TIME.format(unit=unit, wraps=wraps) if unit else ""
    head = HEAD.format(form=form, layout=layout, rate_hz=rate_hz)
    return head + time + CHANNELS + more


@dataclass
class Figure:
    """What was printed of one line.

    Attributes:
        now_s: when.
        values: by channel, SI, before they were rounded.
    """

    now_s: float
    values: dict[str, float] = field(default_factory=dict)


class Seen(LineStand):
    """One that shows what it is about to print."""

    figures: list[Figure]

    @override
    def _line(self) -> str:
        self.figures.append(Figure(self._now_s - self._began_s))
        return super()._line()

    @override
    def _figure(self, channel: Channel) -> str:
        total, number = self._sums.get(channel.name, (0.0, 0))
        value = total / number if number else self._newest.get(channel.name, math.nan)
        self.figures[-1].values[channel.name] = value
        return super()._figure(channel)


def stand(description: Description, *, heeds_keep_alive: bool = False) -> Seen:
    hardware = FaultyStand(Plant(shipped_truth(), 1), (), seed=1)
    made = Seen(hardware, description, heeds_keep_alive=heeds_keep_alive)
    made.figures = []
    return made


def spun_up(made: Seen, words: bytes = b"T30.0\n") -> bytes:
    """Throttle up after a while at zero, as an ESC wants it; all that was printed."""
    printed = made.advance(2500)
    made.receive(words)
    return printed + made.advance(400)


# ------------------------------------------------------------- what it prints

LAYOUTS = [
    *itertools.product(
        ["separated", "named"], ["comma", "tab", "semicolon", "whitespace"], "."
    ),
    *itertools.product(["separated", "named"], ["tab", "semicolon", "whitespace"], ","),
    ("json", "comma", "."),
]
CLOCKS = [("us", None), ("ms", None), ("s", None), (None, None)]
WRAPS = [("us", 10_000_000), ("ms", 10_000), ("s", 10)]


@pytest.mark.parametrize(("form", "separator", "decimal"), LAYOUTS)
@pytest.mark.parametrize("unit", ["us", "s", None])
def test_what_is_printed_is_read_back_within_half_a_step(
    form: str, separator: str, decimal: str, unit: str | None
) -> None:
    description = read_description(text(form, separator, decimal, unit), "printed")
    made = stand(description)
    printed = made.advance(300)
    made.receive(b"T30.0\n")
    printed += made.advance(100)
    assert_read_back(description, made, printed)


@pytest.mark.parametrize(("unit", "wraps_at"), [*CLOCKS, *WRAPS])
def test_its_clock_is_read_back_across_its_end(
    unit: str | None, wraps_at: float | None
) -> None:
    described = text(unit=unit, wraps_at=wraps_at, rate_hz=20)
    description = read_description(described, "printed")
    made = stand(description)
    session = LineSession(description, begins_whole=True)
    times: list[float] = []
    for n in range(1100):
        happenings = session.receive(made.advance(20), n * 0.02)
        times += [h.device_s for h in happenings if isinstance(h, s.Sampled)]
    assert session.health.malformed == 0
    assert session.stand is not None
    assert session.stand.identity.boot == 1
    assert len(times) == len(made.figures) > 430
    if unit:
        printed_s = [figure.now_s - made.figures[0].now_s for figure in made.figures]
        assert [x - times[0] for x in times] == pytest.approx(printed_s, abs=1.1e-3)


def assert_read_back(description: Description, made: Seen, printed: bytes) -> None:
    session = LineSession(description, begins_whole=True)
    happenings = session.receive(printed, 5.0)
    samples = [h for h in happenings if isinstance(h, s.Sampled)]
    assert session.health.malformed == session.health.unknown == 0
    assert len(samples) == len(made.figures) > 25
    for sample, figure in zip(samples, made.figures, strict=True):
        for page, count in zip(sample.layout.channels, sample.counts, strict=True):
            channel = next(c for c in description.channels if c.name == page.name)
            value = figure.values[page.name]
            value = channel.to_si(0.0) if math.isnan(value) else value
            # A page tells no offset: that is in its counts.
            half = abs(channel.step_si) / 2
            assert page.to_si(count) == pytest.approx(value, abs=1.001 * half + 1e-9)
    assert any(not math.isnan(f.values["current"]) for f in made.figures)


def test_it_says_that_it_is_simulated_every_second() -> None:
    printed = stand(read_description(text(), "printed")).advance(3500).decode()
    assert printed.splitlines().count(SIMULATED_LINE) == 4
    assert printed.startswith(SIMULATED_LINE)


def test_names_that_json_would_trip_over_are_printed_soundly() -> None:
    odd = text("json").replace('"load"', '"lo\\"ad"')
    description = read_description(odd, "printed")
    made = stand(description)
    assert_read_back(description, made, made.advance(500))


def test_it_prints_as_often_as_described() -> None:
    for rate_hz in (10, 80, 500):
        described = read_description(text(rate_hz=rate_hz), "printed")
        printed = stand(described).advance(2000).decode().splitlines()
        samples = [line for line in printed if line != SIMULATED_LINE]
        assert len(samples) == pytest.approx(2 * rate_hz, abs=0.1 * rate_hz)


# ------------------------------------------------------------- what it is told


def turning(made: Seen) -> bool:
    return made.hardware.pulse_s > ZERO_PULSE_S + 1e-6


def test_a_throttle_holds_until_another_comes() -> None:
    made = stand(read_description(text(), "printed"))
    spun_up(made)
    assert made.throttle_frac == pytest.approx(0.3)
    made.advance(5000)
    assert turning(made)  # it has no lease: that is what it lacks
    made.receive(b"T0.0\n")
    made.advance(30)
    assert not turning(made)


@pytest.mark.parametrize("words", [b"S\n", b"S\r\n", b"noise\nS\nT\n", b"S\nT0.0\n"])
def test_a_stop_stops(words: bytes) -> None:
    made = stand(read_description(text(), "printed"))
    spun_up(made)
    assert turning(made)
    made.receive(words)
    made.advance(30)
    assert made.throttle_frac == 0.0
    assert not turning(made)


def test_a_command_is_obeyed_once_its_line_has_ended() -> None:
    made = stand(read_description(text(), "printed"))
    spun_up(made)
    for piece in (b"T5", b"0.", b"0"):
        made.receive(piece)
        assert made.throttle_frac == pytest.approx(0.3)
    made.receive(b"\n")
    assert made.throttle_frac == pytest.approx(0.5)


@pytest.mark.parametrize("words", [b"\xff\n", b"t50.0\n", b"T-5\n", b"STOPT0.0\n"])
def test_what_is_no_command_changes_nothing(words: bytes) -> None:
    made = stand(read_description(text(), "printed"))
    spun_up(made)
    made.receive(words)
    assert made.throttle_frac == pytest.approx(0.3)


def test_one_that_can_be_told_nothing_only_prints() -> None:
    made = stand(read_description(text(more=""), "printed"))
    printed = spun_up(made)
    assert made.throttle_frac == 0.0
    assert printed.count(b"\n") > 200


@pytest.mark.parametrize("heeds", [True, False])
def test_a_keep_alive_that_stays_away_stops_it_where_it_heeds_it(heeds: bool) -> None:
    described = read_description(text(more=COMMANDS + ALIVE), "printed")
    made = stand(described, heeds_keep_alive=heeds)
    for _ in range(40):
        made.receive(b"K\nT30.0\n")
        made.advance(100)
    made.receive(b"K\n")
    made.advance(int(MISSED_KEEP_ALIVES * 100) - 10)
    assert turning(made)
    made.advance(50)
    assert turning(made) is not heeds


# ------------------------------------------------------------- by hand, and resets


def test_a_restart_stops_the_motor_and_begins_its_time_anew() -> None:
    described = read_description(text(), "printed")
    made = stand(described)
    spun_up(made)
    made.receive(b"T4")
    made.restart()
    assert made.advance(int(1e3 * BOOT_S) - 20) == b""
    assert not turning(made)
    made.receive(b"0.0\n")  # what came before it is forgotten
    printed = made.advance(100).decode().splitlines()
    assert made.throttle_frac == 0.0
    assert printed[0] == SIMULATED_LINE
    assert int(printed[1].split(",")[0]) < 1e6 * (BOOT_S + 0.05)


def test_plug_and_loop_are_those_of_the_hardware() -> None:
    made = stand(read_description(text(), "printed"))
    assert made.plug_in
    spun_up(made)
    made.plug_in = False
    made.advance(500)
    assert made.figures[-1].values["voltage"] < 1.0
    assert made.figures[-1].values["current"] == pytest.approx(0.0, abs=0.2)
    made.plug_in = True
    made.stop_loop_open = True
    made.advance(50)
    assert made.stop_loop_open
    assert not turning(made)  # the loop is wired past the program


def test_a_plain_stand_has_its_plug_in() -> None:
    hardware = Device(Plant(shipped_truth(), 1))
    assert LineStand(hardware, read_description(text(), "printed")).plug_in
