"""The cells at the balance plug: together the pack, each with its share."""

import pytest

from daq.errors import InputFault
from daq.stand.plant.bench import Plant
from daq.stand.plant.truth import Truth
from tests.daq.stand.plant.builder import changed

PERFECT: dict[str, object] = {
    "cell_taps.gain_u": 0.0,
    "cell_taps.zero_error_counts": 0.0,
    "cell_taps.noise_counts_rms": 0.0,
}


def cells_v(plant: Plant, throttle: float) -> list[float]:
    """Means over the newest tenth of a second, by the declared gain."""
    plant.slow_frame()
    plant.advance(0.1, 1e-3 * (1 + throttle))
    names = [spec.name for spec in plant.slow_specs]
    frame = dict(zip(names, plant.slow_frame(), strict=True))
    spec = plant.slow_specs[names.index("cell-1")]
    return [frame[f"cell-{n}"] / spec.counts_per_unit for n in (1, 2, 3)]


def spun(throttle: float, changes: dict[str, object] | None = None) -> Plant:
    plant = Plant(changed(PERFECT | (changes or {}), "rough"), 1)
    plant.advance(1.0, 1e-3 * (1 + throttle))
    return plant


def test_together_they_are_the_pack_under_load() -> None:
    plant = spun(0.8)
    read = cells_v(plant, 0.8)
    state = plant.state
    truth: Truth = plant.truth
    terminal_v = state.open_circuit_v - state.slow_v
    terminal_v -= truth.pack.resistance_ohm * state.bus_a
    # The cells' charges differ, and the table of voltage against charge is bent.
    assert sum(read) == pytest.approx(terminal_v, abs=0.01)


def test_a_cell_loses_its_share() -> None:
    alike: dict[str, object] = {"cell_taps.charge_off_frac": [0.0, 0.0, 0.0]}
    rested, loaded = spun(0.0, alike), spun(0.8, alike)
    fell = [
        a - b for a, b in zip(cells_v(rested, 0), cells_v(loaded, 0.8), strict=True)
    ]
    # The charge drawn in a second is a thousandth of the pack's.
    assert fell[1] / sum(fell) == pytest.approx(0.39, abs=0.005)
    assert fell[0] / sum(fell) == pytest.approx(0.32, abs=0.005)


def test_a_cell_that_is_not_there_reads_nothing() -> None:
    plant = spun(0.0)
    plant._pack.become(2, 1.0)
    assert cells_v(plant, 0.0)[2] == 0.0


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"cell_taps.resistance_share": [0.5, 0.6, 0.1]}, "must sum to 1"),
        ({"cell_taps.charge_off_frac": [0.1, 0.0, 0.0]}, "must sum to 0"),
        ({"cell_taps.charge_off_frac": [0.0, 0.0]}, "need a value for each cell"),
        (
            {
                "cell_taps.charge_off_frac": [0.0, 0.0],
                "cell_taps.resistance_share": [0.5, 0.5],
            },
            "describes 2 cells; the pack has 3",
        ),
    ],
)
def test_taps_that_cannot_be_are_refused(changes: dict[str, object], says: str) -> None:
    with pytest.raises(InputFault, match=says):
        changed(changes, "rough")
