"""Runs held against each other, as the window tells it, and where they would hover.

The sentences are those of the command and of the page. The hover's marks move with an
all-up weight that a person types: the thrust that each motor gives then, and the
throttle that each run asks for. Reads runs, so it belongs into the background.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final

from daq.errors import GramwattError
from daq.units import n_to_gf

if TYPE_CHECKING:
    from daq.analysis.hover import Flight, Hover
    from daq.analysis.measured import Measured
    from ui.comparing import Comparison

MATTERS: Final = 0.03
LIGHTEST_G: Final = 1.0
HEAVIEST_G: Final = 20_000.0

Told = tuple[tuple[str, str], ...]
"""Texts with their roles."""


@dataclass(frozen=True, slots=True)
class Flown:
    """One run as it would hover.

    Attributes:
        name: of the run and its article.
        flight: what it does on its aircraft.
    """

    name: str
    flight: "Flight"

    def at(self, weight_g: float) -> "Hover | None":
        """Its hover at that all-up weight; None where nothing can be said."""
        from daq.analysis.hover import hover

        flight = self.flight
        return hover(flight.train, flight.pack, flight.aircraft.weighing(weight_g))


@dataclass(frozen=True, slots=True)
class Held:
    """Runs held against each other.

    Attributes:
        told: verdicts, choices and cautions, as texts with roles.
        flown: by run folder, those that have an aircraft.
        weight_g: all-up weight that the first article states; None without one.
    """

    told: Told
    flown: Mapping[Path, Flown]
    weight_g: float | None


@dataclass(frozen=True, slots=True)
class Mark:
    """Where a run would hover.

    Attributes:
        folder: the run.
        thrust_gf: of each motor.
        throttle_percent: of each motor.
    """

    folder: Path
    thrust_gf: float
    throttle_percent: float


def hold(folders: Sequence[Path], matters: float = MATTERS) -> Held:
    """Read runs and hold them against each other; what is wrong is told."""
    from ui.comparing import compare_folders

    try:
        comparison = compare_folders(folders)
    except GramwattError as fault:
        return Held(((str(fault)[:1].upper() + str(fault)[1:], "wanted"),), {}, None)
    return Held(
        told=tuple(_told(comparison, matters)),
        flown=_flown(comparison),
        weight_g=_weight_g(comparison),
    )


def marks(held: Held, weight_g: float) -> tuple[tuple[Mark, ...], Told]:
    """Where the runs would hover at an all-up weight, and that in words."""
    found: list[Mark] = []
    told: list[tuple[str, str]] = []
    for folder, flown in held.flown.items():
        hover = flown.at(weight_g)
        if hover is None:
            told.append(
                (
                    f"{flown.name}: {weight_g:g} g lies outside of what it shows.",
                    "muted",
                )
            )
            continue
        thrust_n = float(hover.thrust_n.value[0])
        throttle = float(hover.throttle_frac.value[0])
        found.append(Mark(folder, n_to_gf(thrust_n), 100 * throttle))
        words = f"{flown.name}: hovers at {100 * throttle:.0f} % throttle"
        if hover.endurance_s is not None:
            words += f", {_minutes(hover.endurance_s)}"
        told.append((f"{words}.", ""))
    return tuple(found), tuple(told)


def _minutes(seconds: "Measured") -> str:
    from daq.analysis.measured import COVERAGE
    from daq.analysis.rounding import with_interval

    low, high = (float(limit[0]) / 60 for limit in seconds.interval(COVERAGE))
    return with_interval(float(seconds.value[0]) / 60, low, high, "min", COVERAGE)


def _told(comparison: "Comparison", matters: float) -> list[tuple[str, str]]:
    from daq.analysis.verdicts import rests_on, to_settle, verdict
    from ui.compared import chosen_words, learned_words, noise_words

    first = comparison.groups[0].name
    told: list[tuple[str, str]] = [("Compared", "head")]
    told += [(chosen_words(chosen), "") for chosen in comparison.chosen if chosen.part]
    told += [(words, "") for words in noise_words(comparison)]
    for name, compared in comparison.compared.items():
        for difference in compared.differences:
            told.append((verdict(difference, first, name), ""))
            ground = f"{rests_on(difference)} {to_settle(difference, matters)}"
            told.append((ground, "muted"))
        told += [
            (f"{name}, {what}: not compared. {why}", "muted")
            for what, why in compared.missing.items()
        ]
    if not comparison.compared:
        told += [(words, "") for words in learned_words(comparison)]
    told += [
        (chosen_words(chosen), "") for chosen in comparison.chosen if not chosen.part
    ]
    told += [
        (f"{words[:1].upper()}{words[1:]}.", "small") for words in comparison.cautions
    ]
    return told


def _flown(comparison: "Comparison") -> dict[Path, Flown]:
    found: dict[Path, Flown] = {}
    for group in comparison.groups:
        for results in group.results:
            flight = results.analysis.evidence.flight if results.analysis else None
            if flight is not None:
                folder = results.run.folder
                found[folder] = Flown(f"{group.name}, {folder.name}", flight)
    return found


def _weight_g(comparison: "Comparison") -> float | None:
    article = comparison.groups[0].results[0].article
    aircraft = article.aircraft if article else None
    return None if aircraft is None else aircraft.all_up_g
