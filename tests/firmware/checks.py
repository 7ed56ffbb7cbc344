"""What every stand with this firmware must do, seen on its servo pin.

Each check takes a bench that was just switched on. The tests run them on the
firmware as it is; the sabotage runs them on broken ones, which must fail.

Times are the design's: a lease of 200 ms and one servo frame; three readings of 2 ms
and one frame for a limit. They hold whatever else the stand was asked for meanwhile.
"""

from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise

from daq.stand.plant.bench import Plant, PlantState
from tests.contract import stranger
from tests.contract.host import LOCKED, SPINNING, TRIPPED
from tests.firmware.pins import SERVO_US, Bench

SPIN = 3000
LEASE_US = 200_000
READING_US = 2_000
TICK_US = 1_000
WATCHDOG_US = 300_000
LEASE, LIMIT, SILENT, STOP, LOOP = 32, 33, 34, 35, 36
WATCHDOG, BROWN_OUT = 3, 4
WRONG_BOOT, WRONG_LIMITS, EXCEEDED, SILENT_REFUSED, LOOP_OPEN = 4, 5, 8, 9, 10


Meanwhile = Callable[[Bench], None]


def nothing(bench: Bench) -> None:
    """Nothing else is asked of the stand."""


def spun(bench: Bench, setpoint: int = SPIN) -> None:
    """Spinning, and seen to."""
    bench.armed()
    bench.hold(setpoint, 60)
    assert bench.told()["state"] == SPINNING
    assert bench.up()


def shift(bench: Bench, **more: float) -> None:
    """Have a sensor read so much more from now on."""
    wired = bench.firmware.wired
    wired.plant = _Shifted(wired.plant, **more)  # type: ignore[assignment]


def lease_ends(bench: Bench, meanwhile: Meanwhile = nothing) -> None:
    """Nobody renews the throttle: the pulse falls with the lease."""
    spun(bench)
    meanwhile(bench)
    bench.throttle(SPIN)
    seen_us = bench.newest_us
    bench.pass_ms(400)
    trip = bench.events()[-1]
    assert (trip["cause"], trip["state"]) == (LEASE, TRIPPED)
    late_us = (trip["time_us"] - seen_us - LEASE_US) & 0xFFFFFFFF
    assert 0 <= late_us <= 2 * TICK_US
    assert bench.falls(bench.pin_us - 200_000) <= 50_000


def limit_cuts(bench: Bench, meanwhile: Meanwhile = nothing) -> None:
    """Current above its limit cuts within three readings and a servo frame."""
    bench.ready()
    bench.take_limits(
        [bench.limit("voltage"), bench.limit("current", high=6.0, persistence=3)]
    )
    assert bench.arm() == 0
    bench.hold(SPIN, 60)
    meanwhile(bench)
    bench.hold(SPIN, 40)
    shift(bench, bus_a=8.0)
    since_us = bench.pin_us
    bench.hold(SPIN, 40)
    trip = bench.events()[-1]
    assert (trip["cause"], trip["limit"]) == (LIMIT, 1)
    slack_us = READING_US + TICK_US  # it began within a reading, seen by the next tick
    assert bench.falls(since_us) <= 3 * READING_US + SERVO_US + slack_us


def low_voltage_cuts(bench: Bench, meanwhile: Meanwhile = nothing) -> None:
    """Voltage below its floor cuts too."""
    bench.ready()
    bench.take_limits(
        [bench.limit("current"), bench.limit("voltage", low=9.9, persistence=3)]
    )
    assert bench.arm() == 0
    bench.hold(SPIN, 60)
    meanwhile(bench)
    bench.hold(SPIN, 40)
    bench.doors.plug(inserted=False)  # type: ignore[union-attr]
    bench.hold(SPIN, 60)
    trip = bench.events()[-1]
    assert (trip["cause"], trip["limit"]) == (LIMIT, 1)
    assert not bench.up()


def silence_cuts(bench: Bench) -> None:
    """A load cell that says nothing cuts when its age is over."""
    bench.ready()
    bench.take_limits([bench.limit("current"), bench.limit("thrust", age_10ms=5)])
    assert bench.arm() == 0
    bench.hold(SPIN, 60)
    bench.firmware.wired.muted = {"thrust"}
    since_us = bench.pin_us
    bench.hold(SPIN, 120)
    assert bench.events()[-1]["cause"] == SILENT
    assert bench.falls(since_us) <= 50_000 + SERVO_US + TICK_US


def slow_cell_is_told(bench: Bench) -> None:
    """A converter left at 10 readings a second: seven of eight readings are missed,
    and a limit whose age is shorter than its silences trips."""
    bench.identify()
    bench.pass_ms(1000)
    before = bench.counters()["missed"]
    bench.pass_ms(1000)
    assert bench.counters()["missed"] == before
    bench.ask_board("cell-us 100000")
    bench.pass_ms(200)
    begin = bench.counters()
    bench.pass_ms(2000)
    end = bench.counters()
    passed_s = (end["time_us"] - begin["time_us"]) * 1e-6
    assert abs(end["missed"] - begin["missed"] - 70 * passed_s) <= 8
    bench.take_limits([bench.limit("current"), bench.limit("thrust", age_10ms=5)])
    while bench.arm() == SILENT_REFUSED:
        bench.pass_ms(5)
    bench.hold(SPIN, 120)
    assert bench.events()[-1]["cause"] == SILENT


def stop_cuts(bench: Bench, meanwhile: Meanwhile = nothing) -> None:
    """A stop is at the pin within a servo frame and its way there."""
    spun(bench)
    meanwhile(bench)
    since_us = bench.pin_us
    bench.send(stranger.STOP, b"\x01")
    bench.hold(SPIN, 100)
    assert bench.events()[-1]["cause"] == STOP
    assert bench.falls(since_us) <= 2 * SERVO_US


def loop_cuts(bench: Bench, meanwhile: Meanwhile = nothing) -> None:
    """An open stop loop cuts by the next tick and frame; closing it revives nothing."""
    spun(bench)
    meanwhile(bench)
    since_us = bench.pin_us
    bench.doors.open_loop(is_open=True)  # type: ignore[union-attr]
    bench.hold(SPIN, 50)
    bench.doors.open_loop(is_open=False)  # type: ignore[union-attr]
    bench.hold(SPIN, 50)
    assert bench.events()[-1]["cause"] == LOOP
    assert bench.falls(since_us) <= TICK_US + SERVO_US + 100


def open_loop_refuses(bench: Bench) -> None:
    """No arming with the loop open."""
    bench.ready()
    bench.doors.open_loop(is_open=True)  # type: ignore[union-attr]
    bench.pass_ms(5)
    assert bench.arm() == LOOP_OPEN
    bench.hold(SPIN, 50)
    assert not bench.up()


def hang_is_cut(bench: Bench) -> None:
    """The main loop hangs: the lease ends in its interrupt, then the watchdog bites.

    Afterwards it is locked, at zero, and says why it started again.
    """
    spun(bench)
    boot = bench.boot
    bench.throttle(SPIN)
    bench.pass_ms(2)
    since_us = bench.pin_us
    bench.ask_board("hang 1")
    for _ in range(LEASE_US // 1000 + 10):
        bench.throttle(SPIN)  # nobody reads this any more
        bench.listen()
    assert bench.falls(since_us) <= LEASE_US + SERVO_US + 2 * TICK_US
    first = bench.event(WATCHDOG, 1000)
    assert (first["state"], first["number"]) == (LOCKED, 1)
    assert first["boot"] == (boot + 1) & 0xFFFF
    bench.hold(SPIN, 100)
    assert not bench.up()
    assert bench.told()["state"] == LOCKED


def start_is_locked(bench: Bench) -> None:
    """After a brown-out while spinning: locked, at zero, the next boot, and why."""
    spun(bench)
    boot = bench.boot
    bench.doors.reset(BROWN_OUT)  # type: ignore[union-attr]
    since_us = bench.pin_us
    first = bench.event(BROWN_OUT)
    assert (first["state"], first["number"]) == (LOCKED, 1)
    assert first["boot"] == (boot + 1) & 0xFFFF
    bench.hold(SPIN, 100)
    assert not any(p.width_us > 1001 for p in bench.pulses if p.at_us > since_us)
    assert bench.arm(boot=boot) == WRONG_BOOT


def clock_may_pass_zero(bench: Bench) -> None:
    """The clock passes 2^32 microseconds while it spins: nothing happens, and the
    lease after it ends in time."""
    bench.ask_board(f"clock {(1 << 32) - 700_000}")
    bench.doors.reset(1)  # type: ignore[union-attr]
    bench.event(1)
    spun(bench)
    assert bench.newest_us > 1 << 31
    while bench.newest_us > 1 << 31:
        bench.hold(SPIN, 10)
    bench.hold(SPIN, 20)
    assert bench.events()[-1]["state"] == SPINNING
    since_us = bench.pin_us
    bench.pass_ms(300)
    assert bench.events()[-1]["cause"] == LEASE
    assert bench.falls(since_us) <= LEASE_US + SERVO_US + 2 * TICK_US


def full_scale_refuses(bench: Bench) -> None:
    """A converter at the end of its range hinders arming, however wide the limits."""
    for name, more in (("felt_n", 100.0), ("bus_a", 90.0), ("bus_v", 30.0)):
        bench.ready()
        assert bench.arm() == 0
        bench.ask(stranger.LOCK, stranger.lock_body(bench.boot))
        shift(bench, **{name: more})
        bench.pass_ms(40)
        assert bench.arm() == EXCEEDED, name
        shift(bench, **{name: -more})
        bench.pass_ms(40)


def full_scale_cuts(bench: Bench) -> None:
    """And it cuts while the motor turns."""
    spun(bench)
    shift(bench, bus_a=90.0)
    since_us = bench.pin_us
    bench.hold(SPIN, 40)
    assert bench.events()[-1]["cause"] == LIMIT
    assert bench.falls(since_us) <= 10 * READING_US + SERVO_US


def flood_hinders_nothing(bench: Bench) -> None:
    """The line is full of good throttles for 200 ms: an open loop cuts all the same."""
    spun(bench)
    since_us = bench.pin_us
    flood = b""
    for _ in range(500):
        body = bench.throttle_body(SPIN)
        flood += stranger.frame(stranger.THROTTLE, bench.sequence, body)
        bench.sequence = (bench.sequence + 1) & 0xFFFF
    bench.subject.write(b"\0" + flood)
    bench.pass_ms(20)
    assert bench.up()
    bench.doors.open_loop(is_open=True)  # type: ignore[union-attr]
    since_us = bench.pin_us
    bench.pass_ms(200)
    assert bench.events()[-1]["cause"] == LOOP
    assert bench.falls(since_us) <= TICK_US + SERVO_US + 100


def damage_renews_nothing(bench: Bench) -> None:
    """Throttles with a wrong CRC are none."""
    spun(bench)
    since_us = bench.pin_us
    for _ in range(300):
        body = bench.throttle_body(SPIN)
        wire = bytearray(stranger.frame(stranger.THROTTLE, bench.sequence, body))
        wire[-2] ^= 1 if wire[-2] != 1 else 2
        bench.subject.write(b"\0" + bytes(wire))
        bench.sequence = (bench.sequence + 1) & 0xFFFF
        bench.listen()
    assert bench.events()[-1]["cause"] == LEASE
    assert bench.falls(since_us) <= LEASE_US + SERVO_US + 2 * TICK_US


def repeats_renew_nothing(bench: Bench) -> None:
    """One throttle said again and again is one throttle."""
    spun(bench)
    body, sequence = bench.throttle_body(SPIN), bench.sequence
    bench.sequence = (sequence + 1) & 0xFFFF
    for _ in range(10):
        bench.send(stranger.THROTTLE, body, sequence=sequence)
        bench.pass_ms(2)
    bench.hold(SPIN, 300)  # until the counters tell
    assert bench.last("counters")["ignored"] == 9
    body, sequence = bench.throttle_body(SPIN), bench.sequence
    bench.sequence = (sequence + 1) & 0xFFFF
    since_us = bench.pin_us
    for _ in range(300):
        bench.send(stranger.THROTTLE, body, sequence=sequence)
        bench.listen()
    assert bench.events()[-1]["cause"] == LEASE
    assert bench.falls(since_us) <= LEASE_US + SERVO_US + 2 * TICK_US


def stale_renews_nothing(bench: Bench) -> None:
    """Throttles that carry an old stamp, as if they had waited, are none."""
    spun(bench)
    since_us = bench.pin_us
    seen_us = bench.newest_us
    for _ in range(300):
        bench.throttle(SPIN, seen_us=seen_us)
        bench.listen()
    assert bench.events()[-1]["cause"] == LEASE
    assert bench.falls(since_us) <= LEASE_US + SERVO_US + 2 * TICK_US


def wrong_limits_refuse(bench: Bench) -> None:
    """No arming on another set of limits than the stand has."""
    bench.ready()
    assert bench.arm(crc=bench.limits_crc ^ 1) == WRONG_LIMITS
    bench.take_limits([bench.limit("voltage", high=5.0), bench.limit("current")])
    assert bench.arm() == EXCEEDED
    bench.hold(SPIN, 50)
    assert not bench.up()


def trip_latches(bench: Bench) -> None:
    """After a stop no throttle and no arming brings the pulse back."""
    spun(bench)
    bench.ask(stranger.STOP, b"\x01")
    since_us = bench.pin_us + SERVO_US
    for _ in range(3):
        assert bench.arm() != 0
        bench.hold(SPIN, 40)
    assert not any(p.width_us > 1001 for p in bench.pulses if p.at_us > since_us)
    assert bench.told()["state"] == TRIPPED


def pulse_is_the_setpoint(bench: Bench) -> None:
    """1 ms at zero, 2 ms at full throttle, straight between, 400 times a second."""
    bench.armed()
    for setpoint in (0, 1, 800, 2500, 5000, 9999, 10_000):
        bench.hold(setpoint, 20)
        assert bench.pulses, "no pulse at all"
        newest = bench.pulses[-1]
        assert abs(newest.width_us - (1000 + setpoint / 10)) <= 1.0, setpoint
    steps = [b.at_us - a.at_us for a, b in pairwise(bench.pulses)]
    assert all(abs(step - SERVO_US) <= 1.0 for step in steps)


class _Shifted:
    """The plant, with more in one of its sensors than there is."""

    def __init__(self, plant: Plant, **more: float) -> None:
        self._plant = plant
        self._more = more

    def __getattr__(self, name: str) -> object:
        return getattr(self._plant, name)

    @property
    def state(self) -> PlantState:
        """As it is, but for what is added."""
        state: PlantState = self._plant.state
        more = {name: getattr(state, name) + v for name, v in self._more.items()}
        return replace(state, **more)


CHECKS = (
    pulse_is_the_setpoint,
    lease_ends,
    limit_cuts,
    low_voltage_cuts,
    silence_cuts,
    slow_cell_is_told,
    stop_cuts,
    loop_cuts,
    open_loop_refuses,
    full_scale_refuses,
    full_scale_cuts,
    flood_hinders_nothing,
    hang_is_cut,
    start_is_locked,
    damage_renews_nothing,
    repeats_renew_nothing,
    stale_renews_nothing,
    wrong_limits_refuse,
    trip_latches,
)
