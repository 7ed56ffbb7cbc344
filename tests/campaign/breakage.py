"""Single effects made larger than the analysis allows for, and where coverage breaks.

In each world one effect is set to a size, all else stays as it was drawn. The sizes
are absolute, so that a person can hold a stand against them.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from typing import Any, Final

from daq.errors import InputFault
from daq.stand.plant.drawn import drawn
from daq.stand.plant.truth import Truth
from tests.campaign import day
from tests.campaign.asked import Answer, answers
from tests.campaign.owner import Owner, Slip, owner_of
from tests.campaign.worlds import draw_world

BROKEN: Final = 0.9
Change = Callable[[Truth, float, Owner], Truth]


@dataclass(frozen=True, slots=True)
class Effect:
    """One effect and the sizes it is tried in.

    Attributes:
        name: in words, with what the sizes are.
        unit: of the sizes, at the surface.
        shown: a size in that unit.
        sizes: rising.
        suffers: quantities that it touches first.
        changed: the truth with the effect at a size.
        slip: what its owner got wrong instead.
    """

    name: str
    unit: str
    shown: float
    sizes: tuple[float, ...]
    suffers: tuple[str, ...]
    changed: Change | None = None
    slip: Callable[[float], Slip] | None = None


def _with(truth: Truth, part: str, **update: Any) -> Truth:
    table = getattr(truth, part)
    return truth.model_copy(update={part: table.model_copy(update=update)})


def _set(part: str, name: str, **also: float) -> Change:
    """One figure of the truth is the size itself, and others are fixed."""
    return lambda truth, size, owner: _with(truth, part, **{name: size}, **also)


def _cell_drift(truth: Truth, size: float, owner: Owner) -> Truth:
    """A kelvin more in the cell at the largest thrust, and that much zero for it."""
    top_n = owner.top[0]
    warmed = _with(
        truth,
        "cell_warming",
        thrust_k_n=1.0 / top_n,
        winding_share_frac=0.0,
        esc_share_frac=0.0,
    )
    return _with(warmed, "cell_drift", zero_n_k=size * top_n)


def _hysteresis(truth: Truth, size: float, owner: Owner) -> Truth:
    """The loop in shares of the largest thrust, yielding within it."""
    top_n = owner.top[0]
    return _with(truth, "cell_hysteresis", rated_n=top_n, width_frac=size)


def _ripple(truth: Truth, size: float, owner: Owner) -> Truth:
    """Slower switching, so that the current swings further in each cycle."""
    return _with(truth, "chopping", frequency_hz=1e3 / size)


THRUST: Final = ("thrust at the top", "specific thrust at the top", "C_T at the top")
POWER: Final = ("power at the top", "specific thrust at the bottom")
FLIGHT: Final = (
    "hover throttle",
    "hover current",
    "full-throttle thrust",
    "full-throttle current",
)

EFFECTS: Final = (
    Effect("zero of the cell follows the wash's heat, of the largest thrust",
           "%", 100.0, (0.01, 0.03, 0.1, 0.3),
           ("thrust at the top", "thrust at the bottom"), _cell_drift),
    Effect("hysteresis of the cell, of the largest thrust",
           "%", 100.0, (0.005, 0.01, 0.02, 0.05),
           ("thrust at the top", "thrust at the bottom"), _hysteresis),
    Effect("wash on the arm, of thrust",
           "%", 100.0, (0.02, 0.03, 0.05, 0.10), THRUST,
           _set("arm", "wash_drag_frac", wash_drag_per_n=0.0)),
    Effect("axis out of line",
           "deg", 57.29578, (0.10, 0.20, 0.30, 0.45), THRUST,
           _set("arm", "misalignment_rad")),
    Effect("gusts, rms of the induced velocity",
           "%", 100.0, (0.05, 0.10, 0.20, 0.30),
           ("thrust at the top", "hover current", "full-throttle thrust"),
           _set("gusts", "share_frac")),
    Effect("ripple: cycle of the bridge",
           "ms", 1.0, (0.05, 0.1, 0.3, 1.0),
           POWER, _ripple),
    Effect("lead between where voltage is read and the controller",
           "mohm", 1e3, (0.005, 0.01, 0.02, 0.05),
           ("voltage at the top", "power at the top"),
           _set("voltage_sensor", "tap_resistance_ohm")),
    Effect("mounting again moves the axis, of the arm",
           "%", 100.0, (0.01, 0.02, 0.04, 0.08), THRUST,
           _set("scatter", "mounting_arm_rel")),
    Effect("all masses heavier than said",
           "%", 100.0, (0.01, 0.02, 0.03, 0.06), THRUST,
           slip=lambda size: Slip(mass_rel=size)),
    Effect("diameter written down too large",
           "%", 100.0, (0.005, 0.01, 0.02, 0.05),
           ("C_T at the top", "total efficiency at the top"),
           slip=lambda size: Slip(diameter_rel=size)),
    Effect("bow between throttle and duty",
           "%", 100.0, (0.03, 0.06, 0.10, 0.18), FLIGHT,
           _set("esc", "duty_bow_frac")),
)  # fmt: skip


def lived_with(job: tuple[int, int, int]) -> tuple[int, int, list[Answer]]:
    """One world with one effect at one size: numbers of both, and its answers."""
    number, place, seed = job
    effect = EFFECTS[number]
    try:
        return number, place, _answers(effect, effect.sizes[place], seed)
    except InputFault:
        return number, place, []


def _answers(effect: Effect, size: float, seed: int) -> list[Answer]:
    world = draw_world(seed)
    owner = owner_of(world, effect.slip(size) if effect.slip else None)
    truth = owner.world.truth
    if effect.changed is not None:
        truth = effect.changed(truth, size, owner)
        owner = owner.in_truth(truth)
    flies = any(name in FLIGHT for name in effect.suffers)
    if not flies:
        owner = owner.grounded()
    stand = day.introduced(truth)
    plan = day.plan_named("staircase")
    header = day.header_of(owner, day.calibrations(owner, stand), plan)
    mounted = drawn(truth, None, 0, seed)
    spun = day.spun(mounted, 2 * seed + 1, plan, header, stand)
    found = answers(owner, truth, spun, flight=flies)
    return [answer for answer in found if answer.quantity in effect.suffers]


def broken(worlds: int, processes: int, first: int = 0) -> str:
    """The table: each effect, its coverage at each size, and where it breaks."""
    jobs = [
        (number, place, seed)
        for number, effect in enumerate(EFFECTS)
        for place in range(len(effect.sizes))
        for seed in range(first, first + worlds)
    ]
    with ProcessPoolExecutor(processes) as pool:
        lived = list(pool.map(lived_with, jobs, chunksize=4))
    lines = [f"{'effect':<66}{'sizes and coverage of what suffers first':<52}breaks"]
    for number, effect in enumerate(EFFECTS):
        shares = shares_of(
            effect, [(place, found) for n, place, found in lived if n == number]
        )
        lines.append(_line(effect, shares))
    return "\n".join(lines)


def shares_of(
    effect: Effect, lived: Iterable[tuple[int, Sequence[Answer]]]
) -> Mapping[str, list[float]]:
    """Coverage of each quantity at each size; a world without an answer is left out."""
    held: dict[tuple[str, int], list[bool]] = {}
    for place, found in lived:
        for answer in found:
            held.setdefault((answer.quantity, place), []).append(answer.holds)
    return {
        name: [
            sum(held.get((name, place), [])) / max(1, len(held.get((name, place), [])))
            for place in range(len(effect.sizes))
        ]
        for name in effect.suffers
    }


def breaks_at(sizes: Sequence[float], shares: Sequence[float]) -> float | None:
    """The size at which coverage falls below 90 %, straight between two sizes.

    Returns:
        None where it never does; the smallest size where it is below there already.
    """
    if shares[0] < BROKEN:
        return sizes[0]
    for place in range(1, len(sizes)):
        if shares[place] < BROKEN:
            before, after = shares[place - 1], shares[place]
            part = (before - BROKEN) / (before - after)
            return sizes[place - 1] + part * (sizes[place] - sizes[place - 1])
    return None


def _line(effect: Effect, shares: Mapping[str, list[float]]) -> str:
    def first(name: str) -> tuple[float, float]:
        at = breaks_at(effect.sizes, shares[name])
        return (at if at is not None else float("inf"), shares[name][-1])

    name = min(effect.suffers, key=first)
    at = breaks_at(effect.sizes, shares[name])
    told = ", ".join(
        f"{effect.shown * size:.3g}: {100 * share:.0f} %"
        for size, share in zip(effect.sizes, shares[name], strict=True)
    )
    where = f"beyond {effect.shown * effect.sizes[-1]:.3g} {effect.unit}"
    if at is not None:
        below = "below " if at == effect.sizes[0] else ""
        where = f"{below}{effect.shown * at:.2g} {effect.unit}"
    return f"{effect.name:<66}{told:<52}{where} ({name})"
