"""The clock that jumps, and the one that asks the machine."""

import pytest

from daq.clock import JumpingClock
from daq.machine_clock import MachineClock, utc_now


def test_sleeping_moves_it_and_nothing_else_does() -> None:
    clock = JumpingClock(10.0)
    assert clock.now_s() == clock.now_s() == 10.0
    clock.sleep(2.5)
    assert clock.now_s() == 12.5
    with pytest.raises(ValueError, match="cannot sleep"):
        clock.sleep(-1.0)


def test_the_machines_clock_goes_on_and_does_not_wait_for_the_past() -> None:
    clock = MachineClock()
    begin_s = clock.now_s()
    clock.sleep(-5.0)
    clock.sleep(0.001)
    assert 0.001 <= clock.now_s() - begin_s < 5.0


def test_the_wall_clock_knows_its_zone() -> None:
    assert utc_now().utcoffset() is not None
