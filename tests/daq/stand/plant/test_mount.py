from itertools import pairwise

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.integrate import solve_ivp
from scipy.signal import lsim

from daq.stand.plant.mount import Mount
from daq.stand.plant.truth_parts import MountTruth


@pytest.mark.parametrize(
    ("resonance_hz", "damping_ratio"), [(60.0, 0.08), (180.0, 0.01), (20.0, 0.9)]
)
def test_a_held_force_gives_the_exact_second_order_answer(
    resonance_hz: float, damping_ratio: float
) -> None:
    one = Mount(
        MountTruth(resonance_hz=resonance_hz, damping_ratio=damping_ratio), 1e-3
    )
    pushes = np.repeat([2.0, -1.0, 0.5], 40)
    felt = [one.advance(float(push)) for push in pushes]
    w = 2.0 * np.pi * resonance_hz

    def slopes(_: float, y: NDArray[np.float64], push: float) -> list[float]:
        return [y[1], w * w * (push - y[0]) - 2.0 * damping_ratio * w * y[1]]

    start, expected = [0.0, 0.0], []
    for push in (2.0, -1.0, 0.5):
        answer = solve_ivp(
            slopes,
            (0.0, 0.04),
            start,
            args=(push,),
            t_eval=np.arange(1, 41) * 1e-3,
            rtol=1e-10,
            atol=1e-12,
        )
        expected.extend(answer.y[0])
        start = answer.y[:, -1].tolist()
    assert felt == pytest.approx(expected, abs=1e-7)


def test_a_ramp_agrees_with_scipys_linear_simulation() -> None:
    one = Mount(MountTruth(resonance_hz=62.0, damping_ratio=0.08), 1e-3)
    time_s = np.arange(201) * 1e-3
    ramp = 3.0 * time_s
    felt = [0.0] + [one.advance(float(0.5 * (a + b))) for a, b in pairwise(ramp)]
    w = 2.0 * np.pi * 62.0
    system = ([w * w], [1.0, 2.0 * 0.08 * w, w * w])
    _, expected, _ = lsim(system, ramp, time_s)
    # Held means of the ramp instead of the ramp itself.
    assert felt == pytest.approx(expected, abs=2e-4)
