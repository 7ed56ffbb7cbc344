"""Restarts and hangs of the board, as the host and the motor see them."""

import math

import pytest

from daq.link import messages as m
from daq.link.framing import frame
from daq.stand.faults.article import NearlyEmptyPack, PlugOut
from daq.stand.faults.board import (
    CAUSES,
    BrownOut,
    Hang,
    LockUp,
    Reset,
    SaggingSupply,
)
from tests.daq.stand.faults.rig import LEASE_MS, NONCE, Rig, spinning

SERVO_S = 0.003


# --- Restarts -----------------------------------------------------------------------


@pytest.mark.parametrize("cause", CAUSES)
def test_a_reset_makes_it_dark_and_then_locked_with_its_cause(cause: str) -> None:
    rig = spinning(Reset(1.0, dark_s=0.3, cause=cause), until_s=1.0)
    assert rig.state() is m.State.SPINNING
    heard = len(rig.said)
    rig.until(1.299)
    assert rig.dark()
    assert rig.stand.pulse_s == 0.0  # nobody makes a pulse
    assert len(rig.said) == heard
    rig.until(1.4)
    event = next(s for _, s in rig.said[heard:] if isinstance(s, m.Event))
    assert (event.cause, event.boot, event.number) == (CAUSES[cause], 2, 1)
    assert event.state is rig.state() is m.State.LOCKED
    assert event.time_us == 0
    assert rig.stand.pulse_s == 1e-3


def test_what_is_sent_while_it_is_dark_is_lost() -> None:
    rig = Rig(Reset(0.1, dark_s=0.3))
    rig.until(0.2)
    rig.send(m.Stop(m.StopReason.PERSON))
    rig.until(0.6)
    assert rig.state() is m.State.LOCKED
    assert rig.messages(m.Reply) == []


def test_the_motor_runs_down_through_a_reset_and_the_plant_goes_on() -> None:
    rig = spinning(Reset(1.0, dark_s=0.5), until_s=1.0)
    before = rig.stand.bench.state
    rig.until(1.5)
    after = rig.stand.bench.state
    assert after.time_s - before.time_s == pytest.approx(0.5)
    assert after.speed_rad_s < 0.2 * before.speed_rad_s
    assert after.motor_a == 0.0


def test_the_first_sample_after_the_dark_knows_nothing_of_it() -> None:
    rig = spinning(Reset(1.0, dark_s=0.5), until_s=1.0)
    rig.until(1.6)
    assert max(rig.si("current-high", 1.4, 1.6)) < 0.05
    assert max(rig.si("current-high", 0.9, 1.0)) > 1.0


def test_a_second_reset_is_a_second_boot() -> None:
    rig = Rig(Reset(0.2), Reset(1.0, cause="power-on"))
    rig.until(2.0)
    assert rig.stand.boot == 3
    assert rig.causes() == [m.Cause.POWER_ON, m.Cause.RESET_PIN, m.Cause.POWER_ON]


def test_a_reset_while_it_is_dark_only_keeps_it_dark() -> None:
    rig = Rig(BrownOut(0.2, dark_s=0.2), Reset(0.3, dark_s=0.5))
    rig.until(0.799)
    assert rig.dark()
    rig.until(0.9)
    assert rig.stand.boot == 2
    assert rig.causes()[-1] is m.Cause.BROWN_OUT


def test_the_faults_time_is_not_set_back_by_a_reset() -> None:
    rig = Rig(Reset(0.5), BrownOut(1.5))
    rig.until(2.0)
    assert rig.causes() == [m.Cause.POWER_ON, m.Cause.RESET_PIN, m.Cause.BROWN_OUT]
    assert rig.now_s == pytest.approx(2.0)
    assert rig.stand.time_us == pytest.approx(250_000, abs=1000)


# --- A supply that sags -------------------------------------------------------------


def test_a_board_on_the_bus_browns_out_when_the_bus_sags() -> None:
    # The shipped pack sags to about 11.5 V at full throttle from 12.6 V at rest.
    rig = spinning(SaggingSupply(threshold_v=11.9), throttle_frac=0.3, until_s=1.0)
    assert rig.stand.boot == 1
    rig.hold(1.0, 1.2)
    assert rig.stand.boot == 2
    assert rig.causes()[-1] is m.Cause.BROWN_OUT
    rig.until(2.5)
    assert rig.state() is m.State.LOCKED
    assert rig.stand.boot == 2


def test_it_stays_dark_until_the_bus_is_back_and_a_little_above() -> None:
    fault = SaggingSupply(threshold_v=9.0, return_v=0.3, dark_s=0.05)
    rig = Rig(fault, PlugOut(0.5, 2.0))
    rig.until(0.5)
    assert not rig.dark()
    rig.until(2.0)
    assert rig.dark()
    assert rig.stand.bench.bus_v < 1.0
    rig.until(2.045)
    assert rig.dark()
    rig.until(2.06)
    assert not rig.dark()
    assert rig.stand.boot == 2


def test_between_its_threshold_and_its_return_it_stays_dark() -> None:
    # By the truth's table, rested: 11.2 V at 30 %, 12.2 V at 85 %, 12.57 V full.
    rig = Rig(
        SaggingSupply(threshold_v=12.0, return_v=0.3, dark_s=0.05),
        NearlyEmptyPack(0.5, 1.0, charge_frac=0.3),
        NearlyEmptyPack(0.5, 2.0, charge_frac=0.85),
    )
    rig.until(1.9)
    assert rig.stand.bench.bus_v > 12.1
    assert rig.dark()
    rig.until(2.2)
    assert not rig.dark()
    # What only falls as far does not make it dark.
    calm = Rig(
        SaggingSupply(threshold_v=12.0, return_v=0.3),
        NearlyEmptyPack(0.5, charge_frac=0.85),
    )
    calm.until(1.0)
    assert (calm.stand.boot, calm.dark()) == (1, False)


def test_a_supply_that_stays_low_is_one_restart_and_not_many() -> None:
    rig = Rig(SaggingSupply(threshold_v=9.0, dark_s=0.0), PlugOut(0.5, 1.0))
    rig.until(1.5)
    assert rig.stand.boot == 2


# --- Hangs --------------------------------------------------------------------------


def test_a_hang_says_nothing_and_the_lease_still_stops_the_motor() -> None:
    rig = spinning(Hang(1.0, 2.0), until_s=1.0)
    heard = len(rig.said)
    zero_at = math.inf
    while rig.now_s < 2.0 - 1e-6:
        rig.hold(0.5, rig.now_s + 0.001)  # the host goes on renewing
        if rig.stand.pulse_s == 1e-3:
            zero_at = min(zero_at, rig.now_s)
    assert len(rig.said) == heard
    # From the last throttle that was read, 1.0 s at the latest.
    assert zero_at <= 1.0 + LEASE_MS / 1000 + SERVO_S + 0.001
    assert zero_at > 1.0 + LEASE_MS / 1000 - 0.03
    assert rig.state() is m.State.TRIPPED
    rig.run(2)
    event = rig.messages(m.Event)[-1]
    assert event.cause is m.Cause.LEASE_ENDED
    assert 1.17e6 < event.time_us < 1.21e6  # told late, with the time it happened


def test_limits_are_not_checked_in_a_hang() -> None:
    rig = Rig(Hang(1.005, 1.15))
    rig.arm()
    tight = m.LimitEntry(rig.index("current"), -32_000, 5_000, 1, 255)
    rig.send(m.Limits((tight,)))
    rig.hold(0.3, 1.0)
    rig.send(m.Throttle(NONCE, 10_000, 500, rig.stand.time_us))
    rig.until(1.15)
    # The throttle was taken before it hung, and nobody looks at the current.
    assert rig.stand.bench.state.bus_a > 8.0
    assert rig.state() is m.State.SPINNING
    rig.run(3)
    assert rig.causes()[-1] is m.Cause.LIMIT


def test_what_came_during_a_hang_is_read_after_it_as_far_as_the_buffer_goes() -> None:
    rig = Rig(Hang(0.1, 0.5, buffer_bytes=30))
    rig.until(0.2)
    stop = frame(m.encode(m.Stop(m.StopReason.PERSON), 0))
    rig.stand.receive(b"\0" * 20)
    rig.stand.receive(stop)
    rig.until(0.5)
    assert rig.state() is m.State.LOCKED
    rig.until(0.6)
    assert rig.state() is m.State.TRIPPED
    deaf = Rig(Hang(0.1, 0.5, buffer_bytes=30))
    deaf.until(0.2)
    deaf.stand.receive(b"\0" * 30)
    deaf.stand.receive(stop)
    deaf.until(0.6)
    assert deaf.state() is m.State.LOCKED


def test_what_waited_in_the_buffer_does_not_outlive_a_reset() -> None:
    rig = Rig(Hang(0.1, 0.5), Reset(0.3, dark_s=0.01))
    rig.until(0.2)
    rig.send(m.Stop(m.StopReason.PERSON))
    rig.until(0.7)
    assert rig.state() is m.State.LOCKED
    assert rig.stand.boot == 2


def test_throttles_that_waited_in_the_buffer_revive_nothing() -> None:
    rig = spinning(Hang(1.0, 2.0, buffer_bytes=4096), until_s=2.5)
    assert rig.state() is m.State.TRIPPED
    assert rig.causes().count(m.Cause.LEASE_ENDED) == 1
    assert rig.stand.pulse_s == 1e-3


# --- Lock-ups -----------------------------------------------------------------------


def test_a_locked_up_board_holds_its_pulse_until_the_watchdog_bites() -> None:
    fault = LockUp(1.0, watchdog_s=0.8, dark_s=0.1)
    rig = spinning(fault, until_s=1.0)
    pulse_s, heard = rig.stand.pulse_s, len(rig.said)
    rig.hold(0.0, 1.799)  # no word gets in
    assert rig.stand.pulse_s == pulse_s > 1.4e-3
    assert rig.stand.bench.state.speed_rad_s > 1000.0  # well past any lease
    assert len(rig.said) == heard
    rig.until(1.801)
    assert rig.stand.pulse_s == 0.0
    rig.until(2.0)
    assert rig.causes()[-1] is m.Cause.WATCHDOG
    assert (rig.stand.boot, rig.state()) == (2, m.State.LOCKED)


def test_a_reset_ends_a_lock_up_before_the_watchdog() -> None:
    rig = Rig(LockUp(0.2, watchdog_s=5.0), Reset(0.5))
    rig.until(6.0)
    assert rig.causes() == [m.Cause.POWER_ON, m.Cause.RESET_PIN]


def test_a_board_that_is_dark_cannot_lock_up() -> None:
    rig = Rig(Reset(0.2, dark_s=1.0), LockUp(0.5, watchdog_s=0.1))
    rig.until(1.5)
    assert rig.stand.boot == 2
    assert not rig.dark()
    assert rig.said[-1][0] > 1.49


def test_the_first_sample_after_a_lock_up_knows_nothing_of_it() -> None:
    rig = spinning(LockUp(1.0, watchdog_s=0.5, dark_s=0.1), until_s=1.0)
    rig.until(1.7)
    assert rig.stand.bench.state.speed_rad_s > 500.0
    assert max(rig.si("current-high", 1.5, 1.7)) < 0.05
