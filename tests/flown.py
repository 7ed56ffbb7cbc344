"""One motor of an aircraft, flown on its share of the pack (``drawn.one_of``)."""

from daq.stand.plant.bench import Plant, PlantState
from daq.stand.plant.truth import Truth

TICK_S = 0.05
ZERO_PULSE_S = 1.0e-3
SPAN_S = 1.0e-3


def punched(flown: Truth, seconds: float = 0.6) -> PlantState:
    """The state after so long at full throttle from rest."""
    plant = Plant(flown, 1)
    plant.advance(0.5, ZERO_PULSE_S)
    plant.advance(seconds, ZERO_PULSE_S + SPAN_S)
    return plant.state


def hovered(
    flown: Truth, thrust_n: float, left_frac: float
) -> tuple[float, float, float]:
    """Hold a thrust until so much charge is left: seconds, mean throttle, mean A."""
    plant = Plant(flown, 1)
    throttle, throttles, amps = 0.3, 0.0, 0.0
    ticks = 0
    while plant.state.charge_frac > left_frac:
        plant.advance(TICK_S, ZERO_PULSE_S + SPAN_S * throttle)
        state = plant.state
        throttle += 0.02 * (thrust_n - state.thrust_n)
        throttles += throttle
        amps += state.bus_a
        ticks += 1
    return ticks * TICK_S, throttles / ticks, amps / ticks
