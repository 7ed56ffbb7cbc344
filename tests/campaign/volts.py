"""Where the volts go, against what the plant knows: plugs, packs, and emptied packs.

``python -m tests.campaign.volts --stands 24`` draws stands, lets each be spun with the
protocol for it, and prints how many of the 95 % intervals hold the plant's truth, how
wide they are and how far off their middles lie. The plant shares no equations with
the analysis but Ohm's law. ``tests.campaign.captured`` does the same for ripple.
"""

import argparse
import math
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from daq.analysis.run import analyse
from daq.analysis.unseen import USUAL
from daq.stand.plant.truth import Truth, shipped_truth
from protocols.recipe import expand, load_recipe
from protocols.task import Task
from tests.daq.analysis.test_plug import ohms, record, walk
from tests.protocols.test_held_spins import held_spin, small
from tests.runs import write_run
from tests.spins import NONCE, spin
from tests.swaps import ROOM, article
from tests.ui.test_emptied import Emptied
from ui.results import Results, analyse_folder


@dataclass(frozen=True)
class Told:
    """One interval, and what it should hold.

    Attributes:
        what: the quantity.
        value: told.
        low: of the interval.
        high: of the interval; infinite where it is open.
        truth: the plant's.
    """

    what: str
    value: float
    low: float
    high: float
    truth: float


def plugs(seed: int, _folder: Path) -> Iterator[Told]:
    """Both poles of a plug of 1 to 30 milliohm a pole."""
    rng = np.random.default_rng(seed)
    pole_ohm = float(np.exp(rng.uniform(np.log(1e-3), np.log(30e-3))))
    changes = ohms(pole_ohm) | {
        "plug_sense.zero_error_counts": rng.uniform(-8.0, 8.0),
        "plug_sense.common_mode_rel": rng.uniform(-1e-4, 1e-4),
        "current_sensor.zero_error_counts": rng.uniform(-30.0, 30.0),
    }
    holds = walk()
    read = analyse(record(changes, seed, holds), holds, unseen=USUAL)
    found = {one.id: one for one in read.findings}["plug-resistance"]
    yield _told("contact resistance, both poles", found, 2e3 * pole_ohm)


def packs(seed: int, folder: Path) -> Iterator[Told]:
    """Pulses of a pack of any resistance and slow time."""
    rng = np.random.default_rng(seed)
    slow_s = float(rng.uniform(6.0, 40.0))
    figures = {
        "resistance_ohm": float(rng.uniform(0.04, 0.14)),
        "slow_resistance_ohm": float(rng.uniform(0.02, 0.06)),
        "slow_time_s": slow_s,
    }
    rough = shipped_truth("rough")
    truth = rough.model_copy(
        update={"pack": rough.pack.model_copy(update=figures), "gusts": None}
    )
    results = _spun(truth, "pack-pulses", seed, folder)
    if results.analysis is None:
        return
    found = {one.id: one for one in results.analysis.findings}
    quick = _between_v_and_pack(truth)
    steps = results.analysis.evidence.steps
    if steps is not None:
        grown = -math.expm1(-(steps.whole.after_s - 0.03) / slow_s)
        step_ohm = quick + figures["slow_resistance_ohm"] * grown
        # What is drawn meanwhile is missing from the open-circuit voltage.
        step_ohm += _per_coulomb_v(truth) * steps.whole.after_s
        yield _told("pack, a second after a step", found["pack-step"], 1e3 * step_ohm)
    yield _told("pack at once", found["pack-resistance"], 1e3 * quick)
    pack = results.analysis.evidence.pack
    if pack is not None and pack.slow_s is not None and pack.slow_range_s is not None:
        low_s, high_s = pack.slow_range_s
        yield Told("slow time constant", pack.slow_s, low_s, high_s, slow_s)


def emptied(seed: int, folder: Path) -> Iterator[Told]:
    """A small pack, emptied to its floor."""
    rng = np.random.default_rng(seed)
    truth = small(
        capacity_c=float(rng.uniform(250.0, 450.0)),
        resistance_ohm=float(rng.uniform(0.05, 0.16)),
        charge_frac=float(rng.uniform(0.8, 1.0)),
    )
    run = held_spin(truth, seed, rest_s={"before": 5.0, "after": 20.0})
    found = Emptied(run, folder)
    yield _told(
        "charge to the floor", found.finding("usable-charge"), found.true_charge_mah()
    )
    yield _told(
        "energy to the floor", found.finding("usable-energy"), found.true_energy_wh()
    )


DRAWN: tuple[Callable[[int, Path], Iterator[Told]], ...] = (plugs, packs, emptied)


def _per_coulomb_v(truth: Truth) -> float:
    """How far the full pack's open-circuit voltage falls for a coulomb."""
    pack = truth.pack
    charge, volt = pack.ocv_charge_frac[-2:], pack.ocv_cell_v[-2:]
    slope_v = (volt[1] - volt[0]) / (charge[1] - charge[0])
    return pack.cells * slope_v / pack.capacity_c


def _between_v_and_pack(truth: Truth) -> float:
    """Pack, leads and plug, up to where the stand reads its voltage."""
    leads = truth.leads
    tap_ohm = truth.voltage_sensor.tap_resistance_ohm
    # Pulses have too few currents for the plug to be read, so it stays in.
    whole = truth.pack.resistance_ohm + leads.resistance_ohm + leads.plug_resistance_ohm
    return whole - tap_ohm


def _spun(truth: Truth, protocol: str, seed: int, folder: Path) -> Results:
    walked = expand(load_recipe(protocol))
    run = spin(Task(walked, ROOM, NONCE), seed=seed, truth=truth)
    run.run()
    return analyse_folder(write_run(run, folder, article=article("pack", "A")))


def _told(what: str, found: object, truth: float) -> Told:
    value, low, high = (float(getattr(found, key)) for key in ("value", "low", "high"))
    return Told(what, value, low, high, truth)


def table(told: list[Told]) -> str:
    """A row a quantity."""
    lines = [f"{'quantity':<34}{'hold':>9}{'half width':>13}{'median error':>15}"]
    for what in dict.fromkeys(one.what for one in told):
        rows = [one for one in told if one.what == what]
        held = sum(one.low <= one.truth <= one.high for one in rows)
        half = np.median([(one.high - one.low) / 2 / one.truth for one in rows])
        off = np.median([one.value / one.truth - 1 for one in rows])
        lines.append(
            f"{what:<34}{held:>4}/{len(rows):<4}{100 * half:>11.1f} %"
            f"{100 * off:>+13.1f} %"
        )
    return "\n".join(lines)


def main() -> None:
    """Draw, spin, print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--stands", type=int, default=24)
    parser.add_argument("--seed", type=int, default=50_000)
    args = parser.parse_args()
    told: list[Told] = []
    for draw in DRAWN:
        for number in range(args.stands):
            with tempfile.TemporaryDirectory() as folder:
                told += draw(args.seed + number, Path(folder))
    print(table(told))


if __name__ == "__main__":
    main()
