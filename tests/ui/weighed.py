"""A calibration walked on a simulated stand in virtual time, masses set down by it."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np

from daq.calibration.reference import Reference
from daq.link.session import Session
from daq.stand.device import TICK_S
from daq.stand.faults.stand import FaultyStand
from daq.stand.plant.bench import Plant
from daq.stand.plant.truth import Truth, shipped_truth
from ui.calibrating import Calibrating
from ui.calibration_steps import Step, loading

TICKS = 20


@dataclass
class Weighing:
    """A stand, a conversation with it, and the model that is walked.

    Attributes:
        stand: the stand.
        model: what is walked.
        force_n: what each level really weighs on the mass point.
        now_s: host time.
    """

    stand: FaultyStand
    model: Calibrating
    force_n: Sequence[float]
    session: Session = field(default_factory=Session)
    now_s: float = 100.0
    cable: bool = True

    def __post_init__(self) -> None:
        self.session.identify(self.now_s)
        self.until(lambda: self.model.hears, 5.0)

    def pass_time(self, seconds: float) -> None:
        """Let so much time pass for stand and model."""
        for _ in range(max(1, round(seconds / (TICKS * TICK_S)))):
            write, happenings = self.session.poll(self.now_s)
            self.stand.receive(write)
            said = self.stand.advance(TICKS)
            self.now_s += TICKS * TICK_S
            if self.cable:
                happenings += self.session.receive(said, self.now_s)
            for happening in happenings:
                self.model.hear(happening, self.now_s)
            self.model.poll(self.now_s)

    def until(self, what: Callable[[], bool], seconds: float) -> bool:
        """Let time pass until something is so; whether it came to be."""
        end_s = self.now_s + seconds
        while not what() and self.now_s < end_s:
            self.pass_time(TICKS * TICK_S)
        return what()

    def set_down(self, level: int) -> None:
        """Put a level on the mass point; -1 takes everything off."""
        self.stand.bench.placed_load_n = 0.0 if level < 0 else self.force_n[level]

    def do(self, step: Step | None = None, typed: float | None = None) -> bool:
        """Do the next step and have it read; whether a reading came of it."""
        step = step or self.model.step
        assert step is not None
        self.set_down(step.level)
        done = len(self.model.readings)
        self.model.take(self.now_s, typed)
        self.until(lambda: not self.model.taking, 60.0 + step.hold_s)
        return len(self.model.readings) > done

    def walk(self) -> None:
        """Everything that is left."""
        while self.model.step is not None:
            assert self.do(), self.model.said


def weighing(
    reference: Reference,
    *,
    seed: int = 1,
    truth: Truth | None = None,
    force_n: Sequence[float] | None = None,
    series: int = 3,
    hold_s: float = 30.0,
    faults: Sequence[object] = (),
    plug_in: bool = False,
) -> Weighing:
    """A thrust calibration about to begin."""
    plant = Plant(truth or shipped_truth(), seed, plug_in=plug_in)
    stand = FaultyStand(plant, faults, seed=seed)  # type: ignore[arg-type]
    steps = loading(reference, series=series, hold_s=hold_s)
    model = Calibrating("thrust", steps, needs_supply_off=True)
    real = list(np.abs(reference.value_si)) if force_n is None else force_n
    return Weighing(stand, model, real)
