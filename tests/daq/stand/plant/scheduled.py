"""Jumps of the throttle, walked by the plant and solved by an adaptive solver."""

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

from daq.stand.plant.bench import Plant

Array = NDArray[np.float64]

#: Start in s, throttle: to 30 %, to full, to nothing and up again.
SCHEDULE = [(0.0, 0.3), (0.4, 1.0), (0.8, 0.0), (1.0, 0.55)]
END_S = 1.4


def solved(
    slopes: Callable[[float, Array], list[float]],
    begin: Sequence[float],
    times_s: NDArray[np.floating],
    *,
    rtol: float,
    atol: float,
) -> Array:
    """The states at the times, by a solver restarted at each jump.

    Args:
        slopes: derivatives at a throttle and a state.
        begin: state at the start.
        times_s: rising.
        rtol: of the solver.
        atol: of the solver.
    """
    y = list(begin)
    ends = [start for start, _ in SCHEDULE[1:]] + [END_S]
    rows = []
    for (start, throttle), end in zip(SCHEDULE, ends, strict=True):
        inside = times_s[(times_s > start + 1e-9) & (times_s <= end + 1e-9)]
        answer = solve_ivp(
            lambda _, y, throttle: slopes(throttle, y),
            (start, end),
            y,
            args=(throttle,),
            t_eval=np.minimum(inside, end),
            rtol=rtol,
            atol=atol,
            max_step=2e-3,
        )
        rows.append(answer.y.T)
        y = answer.y[:, -1].tolist()
    return np.vstack(rows)


def walked(plant: Plant, every_s: float, row: Callable[[Plant], list[float]]) -> Array:
    """The same states of a plant that walks it."""
    rows = []
    for index in range(round(END_S / every_s)):
        now = (index + 0.5) * every_s
        throttle = [each for start, each in SCHEDULE if start <= now][-1]
        plant.advance(every_s, 1e-3 + throttle * 1e-3)
        rows.append(row(plant))
    return np.array(rows)
