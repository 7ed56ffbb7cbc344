"""What is particular to the simulated device; the rest is in tests/contract."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from daq.link import messages as m
from daq.link.framing import Deframer, frame
from daq.link.timing import WRAP_US
from daq.stand.device import Device
from daq.stand.plant.bench import Plant
from daq.stand.plant.load_cell import FILTER_DELAY_CONVERSIONS
from tests.daq.stand.plant.builder import QUIET, changed

SERVO_US = 3000  # a new pulse can begin every 3 ms
NONCE = 5
LEASE_MS = 200


class Bench:
    """A device in virtual time, and what it said, in the project's own words."""

    def __init__(self, start_us: int = 0) -> None:
        self.device = Device(Plant(changed(QUIET), 1), start_us=start_us)
        self.said: list[m.FromStand] = []
        self.sequence = 0
        self._deframer = Deframer()

    def send(self, command: m.ToStand) -> None:
        self.device.receive(frame(m.encode(command, self.sequence)))
        self.sequence += 1

    def run(self, ticks: int = 1) -> list[m.FromStand]:
        said = []
        for payload in self._deframer.feed(self.device.advance(ticks)):
            message = m.decode_from_stand(payload)
            assert not isinstance(message, m.Unknown)
            said.append(message)
        self.said += said
        return said

    @property
    def now_us(self) -> int:
        return self.device.time_us % WRAP_US

    def index(self, name: str) -> int:
        return next(c.index for c in self.device.channels if c.name == name)

    def limits(self, high: int = 32_767) -> m.Limits:
        return m.Limits((m.LimitEntry(self.index("current"), -32_000, high, 3, 10),))

    def arm(self) -> None:
        self.run(20)
        self.send(self.limits())
        self.send(m.Arm(NONCE, self.device.boot, self.limits().crc, 500, self.now_us))
        self.run()
        assert self.device.state is m.State.ARMED

    def hold(self, setpoint: int, ticks: int) -> None:
        """Renew the throttle every 10 ms."""
        for tick in range(ticks):
            if tick % 10 == 0:
                self.send(m.Throttle(NONCE, setpoint, LEASE_MS, self.now_us))
            self.run()

    def events(self) -> list[m.Event]:
        return [message for message in self.said if isinstance(message, m.Event)]

    def pulses_us(self, since: int = 0) -> list[int]:
        """What the pin that watches the pulse read, sample by sample."""
        fast = self.device.streams[0].channels
        place = 2 * fast.index(self.index("pulse")) + 2  # speed before it has 4 bytes
        return [
            int.from_bytes(message.raw[place : place + 2], "little", signed=True)
            for message in self.said[since:]
            if isinstance(message, m.Samples) and message.stream == 0
        ]


# --- The pulse ----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("setpoint", "pulse_us"),
    [(0, 1000), (1, 1000.1), (2500, 1250), (5000, 1500), (10_000, 2000)],
)
def test_the_pulse_follows_the_setpoint(setpoint: int, pulse_us: float) -> None:
    # 1000 us to 2000 us is what ESCs take (common practice, no source).
    bench = Bench()
    bench.arm()
    assert bench.device.pulse_s == 1000e-6
    bench.hold(setpoint, 5)
    assert bench.device.pulse_s == pytest.approx(pulse_us * 1e-6, rel=1e-12)
    bench.run(2)
    assert bench.pulses_us()[-1] == round(pulse_us)


@given(st.integers(0, 10))
def test_a_pulse_changes_only_at_a_servo_frame(offset: int) -> None:
    bench = Bench()
    bench.arm()
    bench.run(offset)
    seen: list[tuple[int, float]] = []
    for step in range(60):
        setpoint = 400 * (step % 20)
        bench.send(m.Throttle(NONCE, setpoint, LEASE_MS, bench.now_us))
        begin_us = bench.now_us
        before = bench.device.pulse_s
        bench.run()
        if bench.device.pulse_s != before:
            seen.append((begin_us, bench.device.pulse_s))
    assert len(seen) >= 15
    assert {at_us % SERVO_US for at_us, _ in seen} == {0}


def zero_within_us(bench: Bench) -> int:
    """Device time until the pulse is that of zero throttle."""
    begin_us = bench.now_us
    while bench.device.pulse_s != 1000e-6:
        bench.run()
        if bench.now_us - begin_us > 2_000_000:
            raise AssertionError("the motor was never stopped")
    return bench.now_us - begin_us


@pytest.mark.parametrize("offset", range(6))
def test_the_pulse_is_zero_a_servo_frame_after_the_lease(offset: int) -> None:
    bench = Bench()
    bench.arm()
    bench.hold(3000, 60 + offset)
    bench.send(m.Throttle(NONCE, 3000, LEASE_MS, bench.now_us))
    took_us = zero_within_us(bench)
    assert LEASE_MS * 1000 <= took_us <= LEASE_MS * 1000 + SERVO_US + 1000
    assert bench.events()[-1].cause is m.Cause.LEASE_ENDED


@pytest.mark.parametrize("offset", range(6))
@pytest.mark.parametrize("cause", ["stop", "lock", "stop loop", "zero", "reset"])
def test_the_pulse_is_zero_a_servo_frame_after_its_cause(
    cause: str, offset: int
) -> None:
    bench = Bench()
    bench.arm()
    bench.hold(3000, 60 + offset)
    match cause:
        case "stop":
            bench.send(m.Stop(m.StopReason.PERSON))
        case "lock":
            bench.send(m.Lock(bench.device.boot))
        case "zero":
            bench.send(m.Throttle(NONCE, 0, LEASE_MS, bench.now_us))
        case "stop loop":
            bench.device.stop_loop_open = True
        case _:
            bench.device.reset(m.Cause.WATCHDOG)
            assert bench.device.pulse_s == 1000e-6
    assert zero_within_us(bench) <= SERVO_US + 1000


def test_the_pulse_is_zero_a_servo_frame_after_a_limit() -> None:
    bench = Bench()
    bench.arm()
    bench.send(bench.limits(high=1500))
    for _ in range(400):
        bench.hold(6000, 1)
        if bench.device.state is m.State.TRIPPED:
            break
    trip = bench.events()[-1]
    assert trip.cause is m.Cause.LIMIT
    zero_within_us(bench)
    assert 0 <= bench.now_us - trip.time_us <= SERVO_US + 1000


def test_the_motor_comes_to_rest_after_a_trip() -> None:
    bench = Bench()
    bench.arm()
    bench.hold(3000, 500)
    plant = bench.device.plant
    assert isinstance(plant, Plant)
    assert plant.state.speed_rad_s > 500.0
    bench.run(3000)  # no throttle any more
    assert plant.state.speed_rad_s < 20.0


# --- The clock ----------------------------------------------------------------------


@pytest.mark.parametrize("before_wrap_ms", [1, 13, 60, 130, 200])
def test_a_clock_that_passes_zero_while_spinning_changes_nothing(
    before_wrap_ms: int,
) -> None:
    """Against a device whose clock does not: the same events at the same ages."""
    told = []
    for start_us in (0, WRAP_US - before_wrap_ms * 1000):
        bench = Bench(start_us)
        bench.arm()
        bench.hold(3000, 300)
        assert bench.device.state is m.State.SPINNING
        bench.run(LEASE_MS + 50)
        told.append(
            [
                (e.number, e.cause, (e.time_us - start_us) % WRAP_US, e.throttle)
                for e in bench.events()
            ]
        )
    assert told[0] == told[1]
    assert told[0][-1][1] is m.Cause.LEASE_ENDED


def test_a_silence_across_the_wrap_is_as_long_as_any() -> None:
    bench = Bench(WRAP_US - 150_000)
    bench.arm()
    bench.hold(0, 100)
    no_reading = -(1 << 15)
    frames = bench.device.plant.fast_frame()
    bench.device.plant.fast_frame = lambda: frames._replace(  # type: ignore[method-assign]
        current_mean_counts=no_reading
    )
    bench.hold(0, 150)
    trip = bench.events()[-1]
    assert trip.cause is m.Cause.CHANNEL_SILENT
    assert trip.time_us < 150_000


# --- Starts -------------------------------------------------------------------------


@pytest.mark.parametrize(
    "cause", [cause for cause in m.Cause if cause.is_start], ids=lambda c: c.name
)
def test_the_first_word_after_a_start_is_its_cause(cause: m.Cause) -> None:
    device = Device(Plant(changed(QUIET), 1), boot=41, cause=cause)
    payload = Deframer().feed(device.advance())[0]
    first = m.decode_from_stand(payload)
    assert isinstance(first, m.Event)
    assert (first.cause, first.boot, first.number) == (cause, 41, 1)
    assert (first.state, first.time_us) == (m.State.LOCKED, 0)


def test_the_boot_number_passes_zero() -> None:
    device = Device(Plant(changed(QUIET), 1), boot=0xFFFF)
    device.reset(m.Cause.BROWN_OUT)
    assert device.boot == 0


def test_an_open_stop_loop_outlives_a_reset() -> None:
    device = Device(Plant(changed(QUIET), 1))
    device.stop_loop_open = True  # a switch, not a variable of the firmware
    device.reset(m.Cause.RESET_PIN)
    assert device.stop_loop_open


def test_a_half_received_frame_does_not_outlive_a_reset() -> None:
    bench = Bench()
    stop = frame(m.encode(m.Stop(m.StopReason.PERSON), 0))
    bench.device.receive(stop[:4])
    bench.device.reset(m.Cause.WATCHDOG)
    bench.device.receive(stop[4:])
    bench.run(5)
    assert bench.device.state is m.State.LOCKED


@pytest.mark.slow
def test_event_numbers_skip_zero_so_that_no_trip_is_latched_by_none() -> None:
    bench = Bench()
    stop, boot = m.Stop(m.StopReason.PERSON), bench.device.boot
    numbers = []
    for _ in range(0x8000):
        bench.sequence = 0
        bench.send(stop)
        trip = [said for said in bench.run(0) if isinstance(said, m.Event)][-1]
        assert trip.latch == trip.number
        numbers.append(trip.number)
        bench.send(m.Acknowledge(boot, trip.latch))
        bench.run(0)
    # The start was 1: trips have the even numbers until 65535, then the odd ones.
    assert numbers[:2] == [2, 4]
    assert numbers[-2:] == [0xFFFE, 1]
    assert bench.device.state is m.State.LOCKED


# --- Whatever comes -----------------------------------------------------------------


@settings(max_examples=200, deadline=None)
@given(st.lists(st.binary(min_size=0, max_size=80), max_size=40))
def test_no_bytes_arm_it_or_hurt_it(chunks: list[bytes]) -> None:
    bench = Bench()
    for chunk in chunks:
        bench.device.receive(chunk)
        bench.run()
    assert bench.device.state in (m.State.LOCKED, m.State.TRIPPED)
    assert bench.device.pulse_s == 1000e-6


def test_the_same_seed_says_the_same_bytes() -> None:
    said = [Device(Plant(changed({}), 3)).advance(500) for _ in range(2)]
    assert said[0] == said[1]
    assert said[0] != Device(Plant(changed({}), 4)).advance(500)


def test_time_may_pass_in_any_portions() -> None:
    whole = Device(Plant(changed({}), 3)).advance(700)
    device = Device(Plant(changed({}), 3))
    assert whole == b"".join(device.advance(ticks) for ticks in (1, 6, 93, 0, 250, 350))


# ------------------------------------------------------------------ proving


def unplugged() -> Bench:
    """A bench whose plug is out and whose bus has drained."""
    bench = Bench()
    bench.device.plant.plug_in = False  # type: ignore[attr-defined]
    bench.run(400)
    return bench


def prove(bench: Bench, nonce: int = NONCE) -> m.Reply:
    bench.send(bench.limits())
    boot, crc = bench.device.boot, bench.limits().crc
    bench.send(m.Prove(nonce, boot, crc, 500, bench.now_us))
    return [x for x in bench.run() if isinstance(x, m.Reply)][-1]


def test_without_supply_a_pulse_can_be_commanded_and_is_read_back() -> None:
    bench = unplugged()
    assert prove(bench).verdict is m.Verdict.DONE
    assert bench.device.state is m.State.PROVING
    bench.hold(2000, 20)
    assert bench.device.state is m.State.PROVING
    assert bench.device.pulse_s == pytest.approx(1.2e-3)


def test_with_the_supply_on_proving_is_refused() -> None:
    bench = Bench()
    bench.run(20)
    assert prove(bench).verdict is m.Verdict.SUPPLY_ON
    assert bench.device.state is m.State.LOCKED


def test_a_supply_that_comes_back_while_proving_gets_a_zero_pulse() -> None:
    bench = unplugged()
    prove(bench)
    bench.hold(2000, 20)
    bench.device.plant.plug_in = True  # type: ignore[attr-defined]
    bench.run(2 + SERVO_US // 1000)
    assert bench.device.state is m.State.TRIPPED
    assert bench.device.pulse_s == pytest.approx(1e-3)
    event = next(x for x in bench.said[::-1] if isinstance(x, m.Event))
    assert (event.cause, event.throttle) == (m.Cause.SUPPLY_ON, 2000)


def test_a_violated_set_cuts_a_proving_pulse_and_a_lapsed_lease_does() -> None:
    for nonce, cut in enumerate(("limit", "lease"), start=7):
        bench = unplugged()
        prove(bench, nonce)
        if cut == "limit":
            index = bench.index("voltage")
            bench.send(m.Limits((m.LimitEntry(index, 5000, 32_000, 1, 10),)))
            bench.run(3)
        else:
            bench.run(501)
        assert bench.device.state is m.State.TRIPPED
        bench.run(4)
        assert bench.device.pulse_s == pytest.approx(1e-3)


@pytest.mark.parametrize("samples_s", [10.0, 20.0, 80.0])
def test_a_slow_load_cell_says_that_it_is_at_least_so_late(samples_s: float) -> None:
    bench = Bench()
    slow = changed(QUIET | {"load_cell.samples_s": samples_s})
    bench.device = Device(Plant(slow, 1))
    bench.send(m.Who(m.LINK_VERSION))
    pages = [x for x in bench.run(50) if isinstance(x, m.ChannelPage)]
    thrust = next(page for page in pages if page.name == "thrust")
    late_us = round(1e6 * FILTER_DELAY_CONVERSIONS / samples_s)
    assert thrust.delay_us == min(late_us, 65_535)
