"""What a firmware must do while it captures, seen on its pins.

A capture is a convenience: whatever protects has to act as if there were none. Waves on
the converter's inputs, at known moments, show that the samples are those of the pin at
the times that are told.
"""

import math
from functools import partial

from tests.contract import stranger
from tests.contract.host import DONE
from tests.contract.rows import readings
from tests.contract.stranger import Message
from tests.firmware import checks
from tests.firmware.checks import READING_US, SPIN
from tests.firmware.pins import SERVO_US, Bench

# ATmega328P data sheet (from memory): 13 clocks of the converter a conversion. That
# clock is the chip's, 16 MHz, over 32, 64 or 128.
PERIODS_NS = tuple(13 * 1_000 * divider // 16 for divider in (32, 64, 128))
NEVER = 2**31 - 1
NAMES = ("current", "voltage")
STEPS_A_SAMPLE = 4  # a byte of ten bits
NOISE_STEPS = 3
SEEN_US = 6  # how well a trigger is stamped
HOLE = 9  # samples that may be missing in a row: the other input's turn, and late
GIVEN_BACK_SHARE = 0.02


def waits(bench: Bench, name: str, patience_ms: int = 5000, **changes: int) -> None:
    """A capture that waits for what does not come."""
    never = {"trigger": stranger.RISING, "level": NEVER, "patience_ms": patience_ms}
    assert bench.capture(name, **(never | {"count": 256} | changes)) == DONE


def device_us(bench: Bench, pin_us: float) -> float:
    """The device's clock when the pin's meter showed that.

    The timer that makes the pulse is the clock: a pulse begins every 2500 of it. How
    many of them it missed in its start, the newest readings tell: the youngest of some
    is younger than one of those.
    """
    ages_us = []
    for _ in range(20):
        bench.listen()
        ages_us.append(bench.pin_us - bench.newest_us)
    phase_us = bench.pulses[-1].at_us % SERVO_US
    frames = math.floor((min(ages_us) - phase_us) / SERVO_US)
    return pin_us - phase_us - frames * SERVO_US


def wave(bench: Bench, name: str, at_us: float, rise_us: float, hold_us: float) -> None:
    """More on an input: 300 steps, from then on."""
    bench.ask_board(f"wave {name} {at_us:.3f} {rise_us:.3f} {hold_us:.3f} 300")


def steps_now(bench: Bench, name: str) -> int:
    """What is on the input, as the channel's newest reading tells."""
    index = bench.channel(name)["index"]
    return int(readings(bench.heard, index)[-1][1]) // 16


# --- What protects --------------------------------------------------------------------


def limit_cuts_while_current_is_captured(bench: Bench) -> None:
    checks.limit_cuts(bench, partial(waits, name="current", period_ns=PERIODS_NS[0]))


def limit_cuts_while_voltage_is_captured(bench: Bench) -> None:
    checks.limit_cuts(bench, partial(waits, name="voltage", period_ns=PERIODS_NS[0]))


def limit_cuts_at_the_slowest_rate(bench: Bench) -> None:
    checks.limit_cuts(bench, partial(waits, name="voltage", period_ns=PERIODS_NS[2]))


def low_voltage_cuts_in_a_capture(bench: Bench) -> None:
    checks.low_voltage_cuts(bench, partial(waits, name="current"))


def lease_ends_in_a_capture(bench: Bench) -> None:
    checks.lease_ends(bench, partial(waits, name="voltage"))


def stop_cuts_in_a_capture(bench: Bench) -> None:
    checks.stop_cuts(bench, partial(waits, name="voltage"))


def loop_cuts_in_a_capture(bench: Bench) -> None:
    checks.loop_cuts(bench, partial(waits, name="current"))


# --- What comes and goes on the line --------------------------------------------------


def no_byte_is_lost(bench: Bench) -> None:
    """120 throttles come in and every reading goes out while the ring is filled."""
    bench.armed()
    waits(bench, "voltage", before=255)
    before = bench.counters()
    begin = len(bench.heard)
    for _ in range(120):
        bench.throttle(SPIN)
        for _ in range(5):
            bench.listen()
    after = bench.counters()
    # The counters were asked for by a command of their own.
    assert (after["received"] - before["received"]) & 0xFFFF == 121
    for name in ("damaged", "ignored", "unsent", "missed"):
        assert after[name] == before[name], name
    assert bench.decoder.lost == bench.decoder.damaged == 0
    stamps = [
        m["time_us"]
        for m in bench.heard[begin:]
        if m["type"] == "samples" and m["stream"] == 0
    ]
    assert len(stamps) >= 300
    span_us = stamps[-1] - stamps[0]
    assert round(span_us / READING_US) == len(stamps) - 1


def readings_stay_those_of_their_input(bench: Bench) -> None:
    """No reading of one input is taken for one of the other, at any rate."""
    bench.ready()
    steps = {name: steps_now(bench, name) for name in NAMES}
    assert steps["voltage"] > 400 > 100 > steps["current"]
    for number, period_ns in enumerate(PERIODS_NS):
        for name in NAMES:
            waits(bench, name, 150, period_ns=period_ns, number=number)
            begin = len(bench.heard)
            assert bench.blocks(number)[0]["total"] == 0
            heard = bench.heard[begin:]
            for channel in ("current", "current-high"):
                counts = readings(heard, bench.channel(channel)["index"])
                assert len(counts) >= 65
                assert all(c <= 16 * (NOISE_STEPS + 40) for _, c in counts), channel
            for channel in ("voltage", "voltage-low"):
                counts = readings(heard, bench.channel(channel)["index"])
                near = 16 * steps["voltage"]
                assert all(abs(c - near) <= 64 for _, c in counts), channel


def supply_is_seen_on_in_a_capture(bench: Bench) -> None:
    """The reading of the board's own supply comes ten times a second, and is right."""
    bench.ready()
    waits(bench, "current", 1000)
    heard = bench.pass_ms(900)
    counts = readings(heard, bench.channel("reference")["index"])
    assert 8 <= len(counts) <= 10
    assert all(abs(count - 5000) <= 25 for _, count in counts)


# --- What is captured -----------------------------------------------------------------


def samples_are_those_of_the_pin(bench: Bench, name: str, period_ns: int) -> None:
    """A ramp on the pin: the trigger, what was before it, every sample and its time."""
    bench.ready()
    rest = steps_now(bench, name)
    level = 16 * (rest + 100)
    bench.capture(
        name,
        period_ns=period_ns,
        count=256,
        before=64,
        trigger=stranger.RISING,
        level=level,
        patience_ms=1000,
    )
    bench.pass_ms(120)
    span_us = 256 * period_ns / 1000
    begins_us = bench.pin_us + 2000.5
    wave(bench, name, begins_us, span_us, 50_000)
    blocks = bench.blocks()
    head = blocks[0]
    assert (head["total"], head["trigger"]) == (256, 64)
    assert head["period_ns"] == period_ns
    samples = [sample for block in blocks for sample in block["samples"]]
    # The moment at which the ramp is at the level, and the next sample after it.
    began_us = device_us(bench, begins_us)
    crossed_us = began_us + span_us / 3
    late_us = head["time_us"] - crossed_us
    early_us = SEEN_US + span_us * (STEPS_A_SAMPLE + NOISE_STEPS) / 300
    assert -early_us <= late_us <= HOLE * period_ns / 1000 + early_us
    missing = samples.count(stranger.NO_SAMPLE)
    assert missing <= 256 / 4  # also when it looked at the supply of the board
    for index, sample in enumerate(samples):
        if sample == stranger.NO_SAMPLE:
            continue
        at_us = head["time_us"] + (index - 64) * period_ns / 1000
        since = (at_us - began_us) / span_us
        pin = rest + 300 * min(max(since, 0.0), 1.0)
        told = (head["base"] + head["step"] * sample) / 16
        slack = STEPS_A_SAMPLE + NOISE_STEPS + 300 * SEEN_US / span_us
        assert abs(told - pin) <= slack, (index, told, pin)
    _pace(head, samples, span_us)


def _pace(head: Message, samples: list[int], span_us: float) -> None:
    """The ramp's slope a sample gives the true period: within half a percent."""
    on_ramp = [
        (index, sample)
        for index, sample in enumerate(samples)
        if 80 <= index <= 200 and sample != stranger.NO_SAMPLE
    ]
    mean_x = sum(x for x, _ in on_ramp) / len(on_ramp)
    mean_y = sum(y for _, y in on_ramp) / len(on_ramp)
    slope = sum((x - mean_x) * (y - mean_y) for x, y in on_ramp) / sum(
        (x - mean_x) ** 2 for x, _ in on_ramp
    )
    period_us = slope * head["step"] / 16 / 300 * span_us
    assert abs(period_us / (head["period_ns"] / 1000) - 1) <= 0.02


def fastest_samples_are_those_of_the_pin(bench: Bench) -> None:
    samples_are_those_of_the_pin(bench, "voltage", PERIODS_NS[0])


def middle_samples_are_those_of_the_pin(bench: Bench) -> None:
    samples_are_those_of_the_pin(bench, "voltage", PERIODS_NS[1])


def slowest_samples_are_those_of_the_pin(bench: Bench) -> None:
    samples_are_those_of_the_pin(bench, "voltage", PERIODS_NS[2])


def samples_of_the_current_are_those_of_the_pin(bench: Bench) -> None:
    samples_are_those_of_the_pin(bench, "current", PERIODS_NS[0])


def short_spikes_are_caught(bench: Bench) -> None:
    """60 us on the pin: two or three samples, or none of the other input's turn."""
    bench.ready()
    caught = [_spike(bench, number) for number in range(5)]
    assert sum(caught) >= 4


def _spike(bench: Bench, number: int) -> bool:
    """Whether one is caught; if it is, then rightly."""
    rest = steps_now(bench, "voltage")
    bench.capture(
        "voltage",
        number=number,
        count=200,
        before=100,
        trigger=stranger.RISING,
        level=16 * (rest + 150),
        patience_ms=120,
    )
    bench.pass_ms(40)
    begins_us = bench.pin_us + 1234.5
    wave(bench, "voltage", begins_us, 0.0, 60.0)
    blocks = bench.blocks(number)
    samples = [sample for block in blocks for sample in block["samples"]]
    high = [n for n, s in enumerate(samples) if s != 255 and 4 * s > rest + 250]
    if not high:
        return False
    calm = [s for n, s in enumerate(samples) if n not in high and s != 255]
    assert high[0] == 100
    assert high[-1] <= 102
    assert all(abs(4 * s - rest) <= STEPS_A_SAMPLE for s in calm)
    late_us = blocks[0]["time_us"] - device_us(bench, begins_us)
    assert -SEEN_US <= late_us <= 60 + SEEN_US
    return True


def fall_is_caught(bench: Bench) -> None:
    """The end of a pulse on the pin, with what was before it."""
    bench.ready()
    rest = steps_now(bench, "voltage")
    begins_us = bench.pin_us + 1000.0
    wave(bench, "voltage", begins_us, 0.0, 60_000.0)
    bench.pass_ms(20)
    bench.capture(
        "voltage",
        count=100,
        before=50,
        trigger=stranger.FALLING,
        level=16 * (rest + 150),
        patience_ms=1000,
    )
    blocks = bench.blocks()
    samples = [sample for block in blocks for sample in block["samples"]]
    assert all(4 * s > rest + 250 for s in samples[:50] if s != 255)
    assert all(4 * s < rest + 50 for s in samples[50:] if s != 255)
    late_us = blocks[0]["time_us"] - device_us(bench, begins_us + 60_000.0)
    assert -SEEN_US <= late_us <= HOLE * PERIODS_NS[0] / 1000 + SEEN_US


def level_passed_is_no_crossing(bench: Bench) -> None:
    """A level that the pin is above already is not what it waits for."""
    bench.ready()
    level = 16 * (steps_now(bench, "voltage") - 100)
    kind = stranger.RISING
    bench.capture("voltage", trigger=kind, level=level, patience_ms=100)
    assert bench.blocks()[0]["total"] == 0


# --- And its end ----------------------------------------------------------------------


def patience_ends(bench: Bench) -> None:
    """Nothing comes: it says so in time, and gives the converter back."""
    bench.ready()
    asked_us = bench.newest_us
    waits(bench, "voltage", 200)
    (block,) = bench.blocks(within_ms=400)
    assert block["total"] == 0
    assert 200_000 <= block["time_us"] - asked_us <= 200_000 + 10_000
    bench.pass_ms(100)
    index = bench.channel("current")["index"]
    assert len(readings(bench.pass_ms(100), index)) >= 49


def converter_is_given_back(bench: Bench) -> None:
    """After a capture the processor has as much to do as before."""
    bench.ready()
    before = bench.load(partial(bench.pass_ms, 300))
    starts = len(bench.events())
    waits(bench, "voltage", 100)
    bench.blocks()
    bench.pass_ms(50)
    after = bench.load(partial(bench.pass_ms, 300))
    assert abs(after.busy_share - before.busy_share) <= GIVEN_BACK_SHARE
    assert len(bench.events()) == starts  # it had to do so much that it started again


CHECKS = (
    limit_cuts_while_current_is_captured,
    limit_cuts_while_voltage_is_captured,
    limit_cuts_at_the_slowest_rate,
    low_voltage_cuts_in_a_capture,
    lease_ends_in_a_capture,
    stop_cuts_in_a_capture,
    loop_cuts_in_a_capture,
    no_byte_is_lost,
    readings_stay_those_of_their_input,
    supply_is_seen_on_in_a_capture,
    fastest_samples_are_those_of_the_pin,
    middle_samples_are_those_of_the_pin,
    slowest_samples_are_those_of_the_pin,
    samples_of_the_current_are_those_of_the_pin,
    short_spikes_are_caught,
    fall_is_caught,
    level_passed_is_no_crossing,
    patience_ends,
)
