"""Runs that did not reach the end of their plan: spun in virtual time, and kept.

The plan is short: two seconds of rest, 30 % (dwell from 2.9 s to 4.1 s), 60 % (dwell
from 5.0 s to 6.2 s), and back. A fault strikes in the second dwell unless it says
otherwise, so that one of two dwells is whole.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final
from unittest import mock

from daq.link import messages as m
from daq.records.shelf import Article
from daq.records.wirelog import Kind
from daq.stand import device as devices
from daq.stand.faults.article import (
    EscIgnoringZero,
    EscNotArming,
    StalledMotor,
    StopLoopOpen,
    ThrownPropeller,
)
from daq.stand.faults.board import BrownOut
from daq.stand.faults.fault import Fault
from daq.stand.faults.sensors import FrozenSensor, SilentSensor
from daq.stand.faults.stand import FaultyStand
from daq.stand.faults.wire import CableOut, RepeatedChunks
from daq.stand.plant.bench import Plant
from daq.stand.plant.truth import shipped_truth
from protocols.control import Control
from protocols.task import Task
from tests.protocols.articles import article
from tests.runs import write_run
from tests.spins import NONCE, plan
from tests.virtual import VirtualSpin
from ui.ordered import limits_for, rules_for
from ui.results import Results, analyse_folder

LOAD_CELL_G: Final = 1000.0
STRUCK_S: Final = 5.9
LEVELS: Final = (0.3, 0.6)
BLIND: Final = m.Ability.PROVE | m.Ability.PULSE_READBACK

Act = Callable[[VirtualSpin], None]


def suffer(fault: Fault) -> Act:
    """Have it go wrong now."""

    def act(run: VirtualSpin) -> None:
        run.device.add(fault)  # type: ignore[attr-defined]

    return act


def stop(run: VirtualSpin) -> None:
    """A person stops it."""
    run.order(order="stop", why="A person stopped it with ctrl-C.")


def lose_port(run: VirtualSpin) -> None:
    """The adapter is pulled out."""
    run.cable = False
    run._input(Kind.LOST, b"The port went away.")


@dataclass(frozen=True, slots=True)
class Scene:
    """What happens to one run.

    Attributes:
        throughout: faults from the start on.
        acts: what happens in the walk, and when.
        article: what is tested; None: the shipped one.
        timed: parts that may go to their short-time rating.
        blind: the stand cannot prove a pulse: it gives none with its supply off, and
            reads none back. Nobody asks for its plug, so it is in.
    """

    throughout: tuple[Fault, ...] = ()
    acts: tuple[tuple[float, Act], ...] = ()
    article: Article | None = None
    timed: tuple[str, ...] = ()
    blind: bool = False


def struck(fault: Fault, at_s: float = STRUCK_S) -> Scene:
    """One fault in the walk."""
    return Scene(acts=((at_s, suffer(fault)),))


SCENES: Final = {
    "whole": Scene(),
    "stopped": Scene(acts=((STRUCK_S, stop),)),
    "thrown": struck(ThrownPropeller()),
    "stalled": struck(StalledMotor()),
    "cable": struck(CableOut()),
    "loop": struck(StopLoopOpen()),
    "brown-out": struck(BrownOut()),
    "silent": struck(SilentSensor(channel="thrust")),
    "stuck": struck(FrozenSensor(channel="thrust")),
    "repeated": struck(RepeatedChunks(), 1.0),
    "port": Scene(acts=((STRUCK_S, lose_port),)),
    "runs on": Scene(
        acts=((STRUCK_S, suffer(EscIgnoringZero())), (STRUCK_S + 0.2, stop))
    ),
    "burst": Scene(
        article=article(plug__rated_a=2.0, plug__short_a=12.0, plug__short_s=0.05),
        timed=("plug",),
    ),
    "heat": Scene(article=article(motor__max_winding_c=40.0)),
    "turns": Scene(throughout=(EscIgnoringZero(),)),
    "no pulse": Scene(throughout=(FrozenSensor(channel="pulse"),)),
    "blind": Scene(blind=True, acts=((STRUCK_S, suffer(CableOut())),)),
    "no start": Scene(throughout=(EscNotArming(),)),
}


@dataclass
class CutRuns:
    """Runs by the names of ``SCENES``.

    Attributes:
        parent: the folder that their folders are in.
    """

    parent: Path
    spins: dict[str, VirtualSpin] = field(default_factory=dict)
    _folders: dict[str, Path] = field(default_factory=dict)
    _results: dict[str, Results] = field(default_factory=dict)

    def folder(self, name: str) -> Path:
        """The run's folder."""
        if name not in self._folders:
            scene = SCENES[name]
            quad = scene.article or article()
            run = self.spins[name] = spin_of(scene, quad)
            abilities = devices.ABILITIES & ~(BLIND if scene.blind else m.Ability(0))
            with mock.patch.object(devices, "ABILITIES", abilities):
                run.run(until_s=60.0)
            self._folders[name] = write_run(run, self.parent, article=quad.to_dict())
        return self._folders[name]

    def of(self, name: str) -> Results:
        """The run and what it says; nothing is written."""
        if name not in self._results:
            self._results[name] = analyse_folder(self.folder(name))
        return self._results[name]


def spin_of(scene: Scene, quad: Article) -> VirtualSpin:
    """The spin of a scene, not yet run."""
    limits = limits_for(quad, LOAD_CELL_G, scene.timed)
    task = Task(plan(LEVELS, 1.2), limits, NONCE, rules_for(quad, scene.timed))
    bench = Plant(shipped_truth(), 1, plug_in=scene.blind)
    run = VirtualSpin(
        Control(task, "a test port"), FaultyStand(bench, scene.throughout)
    )
    for into_s, act in scene.acts:
        run.at_walk(into_s, act)
    return run
