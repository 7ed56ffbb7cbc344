"""Truth of an aircraft: one motor of the plant on its share of a pack.

N equal motors and a constant load on one pack are, seen from one motor, a pack of N
times the resistance and the Nth part of the charge, with the Nth part of the load on
top of the speed controller's own draw. So the plant itself can be flown.
"""

from daq.stand.plant.bench import Plant, PlantState
from daq.stand.plant.truth import Truth

TICK_S = 0.05
ZERO_PULSE_S = 1.0e-3
SPAN_S = 1.0e-3


def aircraft(truth: Truth, motors: int, electronics_a: float) -> Truth:
    """What one of so many motors has to live with."""
    pack, leads, esc = truth.pack, truth.leads, truth.esc
    return truth.model_copy(
        update={
            "pack": pack.model_copy(
                update={
                    "resistance_ohm": motors * pack.resistance_ohm,
                    "slow_resistance_ohm": motors * pack.slow_resistance_ohm,
                    "capacity_c": pack.capacity_c / motors,
                }
            ),
            "leads": leads.model_copy(
                update={
                    "resistance_ohm": motors * leads.resistance_ohm,
                    "plug_resistance_ohm": motors * leads.plug_resistance_ohm,
                }
            ),
            "esc": esc.model_copy(
                update={"idle_current_a": esc.idle_current_a + electronics_a / motors}
            ),
        }
    )


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
