"""Device microseconds to seconds that never wrap, and those to host time."""

from hypothesis import given
from hypothesis import strategies as st

from daq.link.timing import WRAP_US, ArrivalMap, DeviceClock


@given(st.lists(st.floats(0.0, 2000.0), min_size=1, max_size=50))
def test_time_goes_on_through_every_wrap(steps_s: list[float]) -> None:
    clock, true_us, host_s = DeviceClock(), WRAP_US - 1000, 5.0
    first_s = clock.unwrap(true_us % WRAP_US, host_s)
    begin_us = true_us
    for step_s in steps_s:
        true_us += round(step_s * 1e6)
        host_s += step_s
        got_s = clock.unwrap(true_us % WRAP_US, host_s)
        assert abs((got_s - first_s) - (true_us - begin_us) * 1e-6) < 1e-6


def test_a_silence_of_three_wraps_is_bridged_by_host_time() -> None:
    clock = DeviceClock()
    clock.unwrap(1_000, 10.0)
    later_us = 3 * WRAP_US + 5_000
    host_s = 10.0 + later_us * 1e-6 * (1 + 50e-6)  # crystals 50 ppm apart
    assert abs(clock.unwrap(later_us % WRAP_US, host_s) - later_us * 1e-6) < 1e-6


def test_two_streams_may_step_back_a_little() -> None:
    clock = DeviceClock()
    assert clock.unwrap(5_000, 1.0) == 5e-3
    assert clock.unwrap(4_000, 1.0) == 4e-3
    assert clock.unwrap(6_000, 1.002) == 6e-3


def test_the_map_takes_the_least_delay_and_follows_drift() -> None:
    arrivals = ArrivalMap()
    for step in range(20_000):
        device_s = step * 2e-3
        delay_s = 0.001 if step % 7 == 0 else 0.016
        arrivals.observe(device_s, 100.0 + device_s * (1 + 100e-6) + delay_s)
    device_s = 19_999 * 2e-3
    true_host_s = 100.0 + device_s * (1 + 100e-6)
    assert abs(arrivals.to_host(device_s) - true_host_s) < 2e-3


def test_a_map_that_saw_nothing_says_so() -> None:
    arrivals = ArrivalMap()
    assert not arrivals.known
    arrivals.observe(0.0, 1.0)
    assert arrivals.known
