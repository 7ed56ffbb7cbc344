"""Check: this spin takes no more charge and energy from the pack than it may.

What the pack gave before this spin is not known here; the voltage's limit guards
against a pack that began half empty. A bench supply has no budget. Acts once the
budget is used, within one reading.
"""

import math

from protocols.guard.integral import Integral
from protocols.guard.now import Now
from protocols.guard.trip import Action, Trip
from protocols.limits import brief
from protocols.rules import Rules

NAME = "pack"
_AS_PER_MAH = 3.6
_J_PER_WH = 3600.0


class PackCheck:
    """Charge and energy so far, each against its budget."""

    def __init__(self, rules: Rules, now: Now) -> None:
        self._charge_c = math.inf if rules.charge_c is None else rules.charge_c
        self._energy_j = math.inf if rules.energy_j is None else rules.energy_j
        self._now = now
        self._charge = Integral()
        self._energy = Integral()

    def current(self, current_a: float, now_s: float) -> Trip | None:
        """A reading of the current, by which both budgets go."""
        charge_c = self._charge.take(current_a, now_s)
        voltage_v = self._now.value("voltage", now_s)
        energy_j = self._energy.take(current_a * voltage_v, now_s)
        if charge_c >= self._charge_c:
            return _trip(charge_c / _AS_PER_MAH, self._charge_c / _AS_PER_MAH, "mAh")
        if energy_j >= self._energy_j:
            return _trip(energy_j / _J_PER_WH, self._energy_j / _J_PER_WH, "Wh")
        return None


def _trip(taken: float, budget: float, unit: str) -> Trip:
    return Trip(
        check=NAME,
        cause=(
            f"This spin took {brief(taken)} {unit} from the pack, all of the "
            f"{brief(budget)} {unit} that it may."
        ),
        clears="a charged pack is connected",
        advice="Charge the pack, or split the plan over two packs.",
        action=Action.RAMP_DOWN,
    )
