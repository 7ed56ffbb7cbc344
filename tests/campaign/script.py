"""One script of the campaign: a seeded handful of faults, a whole spin, a verdict."""

import math
import tempfile
from collections import defaultdict
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Final

import numpy as np
from typing_extensions import override

from daq.link import messages as m
from daq.link import session as s
from daq.link.timing import WRAP_US
from daq.records.read import read_run
from daq.records.shelf import load_article
from daq.records.wirelog import Kind
from daq.stand.device import ZERO_PULSE_S
from daq.stand.faults.board import LockUp
from daq.stand.faults.catalogue import KINDS, draw
from daq.stand.faults.fault import Fault, describe
from daq.stand.faults.stand import FaultyStand
from daq.stand.plant.bench import Plant
from daq.stand.plant.truth import Truth, shipped_truth
from protocols.control import Control
from protocols.outcome import Ended
from protocols.phases import Phase
from protocols.plan import Plan, Segment
from protocols.task import Task
from tests.campaign.rightly import KINDS as RIGHTLY
from tests.campaign.rightly import LEASE_S, SERVO_S, names_for
from tests.runs import write_run
from tests.virtual import DELAY_S, VirtualSpin
from ui.articles import example_article
from ui.ordered import limits_for, rules_for

NONCE: Final = 0x5A17
LOAD_CELL_G: Final = 1000.0
UNTIL_S: Final = 24.0
REST_S: Final = 1.0  # watched on after the outcome: nothing may come back
PROOF_S: Final = (0.0, 5.0)  # stand time in which the guards are proven
WALK_S: Final = (5.0, 11.5)  # and in which the plan is walked
IN_THE_WALK: Final = 0.8
MANY: Final = (0.6, 0.3, 0.1)  # one, two or three faults
KEEP_EVERY: Final = 20  # of the scripts, one in so many becomes a run folder
# Two ticks of the stand, and one step of the host: what a moment is good to.
MOMENT_S: Final = 0.004


def plan() -> Plan:
    """Up two levels, down one, back to rest; every kind of move once."""
    segments = [Segment("rest", "rest", -1, 0.0, 0.0, 0.8)]
    before = 0.0
    for level in (0.35, 0.7, 0.35):
        step = 0 if level < 0.5 else 1
        segments += [
            Segment("ramp", "up", step, before, level, 0.4),
            Segment("settle", "up", step, level, level, 0.5),
            Segment("dwell", "up", step, level, level, 0.6),
        ]
        before = level
    segments += [
        Segment("ramp", "rest", -1, before, 0.0, 0.4),
        Segment("rest", "rest", -1, 0.0, 0.0, 1.0),
    ]
    return Plan("campaign", "Up two, down one", tuple(segments))


@cache
def _task() -> Task:
    article = load_article(example_article())
    limits = limits_for(article, LOAD_CELL_G)
    return Task(plan(), limits, NONCE, rules_for(article))


@cache
def _truth() -> Truth:
    return shipped_truth()


@dataclass(slots=True)
class Verdict:
    """What became of one script.

    Attributes:
        seed: of it.
        faults: a clause each.
        kinds: their kinds.
        ended: how the run ended.
        check: what ended it.
        phase: how far it had come when the first fault struck.
        to_zero_s: from the fault's start to a pulse at zero, where it was driven.
        stop_to_zero_s: from the host's stop to a pulse at zero.
        broken: laws that did not hold, a sentence each.
        misnamed: the name was none of the right ones.
        wrong_samples: samples that the stand never sent, taken as good.
        damaged: frames that the line damaged.
    """

    seed: int
    faults: list[str]
    kinds: list[str]
    ended: str = ""
    check: str = ""
    phase: str = ""
    to_zero_s: float = math.nan
    stop_to_zero_s: float = math.nan
    broken: list[str] = field(default_factory=list)
    misnamed: bool = False
    wrong_samples: int = 0
    damaged: int = 0


class Watched(VirtualSpin):
    """A spin whose every pulse, sample and state is looked at."""

    stand: FaultyStand
    verdict: Verdict
    spent: bool = False

    def begin(self, stand: FaultyStand, verdict: Verdict) -> None:
        self.stand, self.verdict = stand, verdict
        self.pulses: list[tuple[float, bool]] = []
        self.stop_s = math.nan
        self.truths: dict[tuple[int, int], list[tuple[int, ...]]] = defaultdict(list)
        self._tap_stand()
        self._tap_host()

    def _tap_stand(self) -> None:
        """Remember every sample as the stand sent it, before the line."""
        sample = self.stand._sample

        def tapped(
            stream: int, pack: Callable[..., bytes], counts: tuple[int, ...]
        ) -> None:
            at_us = self.stand.time_us % WRAP_US
            self.truths[stream, at_us].append(tuple(counts))
            sample(stream, pack, counts)

        self.stand._sample = tapped  # type: ignore[method-assign]

    def _tap_host(self) -> None:
        """Hold every sample that the host takes against what was sent."""
        receive = self.control.session.receive

        def tapped(data: bytes, now_s: float) -> list[s.Happening]:
            happenings = receive(data, now_s)
            for happening in happenings:
                if isinstance(happening, s.Sampled):
                    at_us = round(happening.device_s * 1e6) % WRAP_US
                    sent = self.truths.get((happening.stream, at_us), [])
                    if happening.counts not in sent:
                        self.verdict.wrong_samples += 1
            return happenings

        self.control.session.receive = tapped  # type: ignore[method-assign]

    @override
    def step(self, ticks: int = 2) -> None:
        before = self.control.phase
        super().step(ticks)
        drives = self.stand.pulse_s > ZERO_PULSE_S + 1e-6
        if not self.pulses or self.pulses[-1][1] is not drives:
            self.pulses.append((self.stand.elapsed_s, drives))
        over = (Phase.STOPPING, Phase.LINGERING, Phase.ENDED)
        if before not in over and self.control.phase in over:
            self.stop_s = self.stand.elapsed_s

    def driven_at(self, time_s: float) -> bool:
        """Whether the pulse was up at a moment of the stand's time."""
        state = False
        for at_s, drives in self.pulses:
            if at_s > time_s:
                break
            state = drives
        return state

    def zero_after_s(self, time_s: float) -> float:
        """How long after a moment the pulse was first at zero."""
        if not self.driven_at(time_s):
            return 0.0
        for at_s, drives in self.pulses:
            if at_s > time_s and not drives:
                return at_s - time_s
        return math.inf


def draw_faults(seed: int) -> list[Fault]:
    """What goes wrong in the script of that seed."""
    rng = np.random.default_rng(seed)
    number = 1 + int(rng.choice(len(MANY), p=MANY))
    faults = []
    for _ in range(number):
        window_s = WALK_S if rng.random() < IN_THE_WALK else PROOF_S
        faults.append(draw(rng, tuple(KINDS), window_s))
    return faults


def run_script(seed: int, faults: list[Fault] | None = None) -> Verdict:
    """One script, from its seed to its verdict."""
    faults = draw_faults(seed) if faults is None else faults
    verdict = Verdict(seed, [describe(f) for f in faults], [f.kind for f in faults])
    stand = FaultyStand(Plant(_truth(), seed % 1000), faults, seed=seed)
    keep = seed % KEEP_EVERY == 0
    run = Watched(Control(_task(), "test port"), stand, keep_records=keep)
    run.begin(stand, verdict)
    first_s = min(fault.start_s for fault in faults)
    run.at(first_s, lambda r: setattr(verdict, "phase", r.control.phase.value))
    run.run(until_s=UNTIL_S)
    if run.control.phase is not Phase.ENDED:
        _leave(run, verdict)
    held = stand.state
    for _ in range(round(REST_S / 0.002)):
        run.step()
    _judge(run, faults, held)
    if keep:
        _judge_record(run, verdict)
    return verdict


def _leave(run: Watched, verdict: Verdict) -> None:
    """It waits for a person, who stops it; a motor may not be running meanwhile."""
    if run.stand.pulse_s > ZERO_PULSE_S + 1e-6 and run.stand.bench.bus_v > 1.0:
        verdict.broken.append(f"left driving in {run.control.phase.value}")
    run.order(order="stop", why="nobody there")
    run.run(until_s=UNTIL_S + 6.0)
    if run.control.phase is not Phase.ENDED:
        verdict.broken.append("a stop did not end it")


def _judge(run: Watched, faults: list[Fault], held: m.State) -> None:
    verdict, stand = run.verdict, run.stand
    outcome = run.control.outcome
    if outcome is None:
        verdict.broken.append("no outcome")
        return
    verdict.ended, verdict.check = str(outcome.ended), outcome.check
    verdict.damaged = run.control.session.drops
    if outcome.cause.endswith("nobody there"):
        verdict.check = "nobody there"
    _judge_pulse(run, faults)
    if held is m.State.TRIPPED and stand.state is not m.State.TRIPPED:
        restarts = any(
            f.kind in ("reset", "brown-out", "sagging-supply", "lock-up")
            for f in faults
        )
        if not restarts:
            verdict.broken.append("the latch was not held")
    verdict.misnamed = not _is_named_rightly(verdict, outcome.ended)


def _judge_pulse(run: Watched, faults: list[Fault]) -> None:
    """At zero in the end, within a lease of the stop, and as soon as was stated."""
    verdict = run.verdict
    if run.pulses[-1][1]:
        verdict.broken.append("the pulse is up at the very end")
    locks = [f.watchdog_s for f in faults if isinstance(f, LockUp)]
    allowed_s = LEASE_S + SERVO_S + DELAY_S + MOMENT_S + sum(locks)
    if not math.isnan(run.stop_s):
        verdict.stop_to_zero_s = run.zero_after_s(run.stop_s)
        if verdict.stop_to_zero_s > allowed_s:
            late_ms = 1e3 * verdict.stop_to_zero_s
            verdict.broken.append(f"{late_ms:.0f} ms from the stop to a pulse at zero")
    if len(faults) > 1:
        return
    (fault,) = faults
    begun_s = fault.start_s + MOMENT_S
    if not run.driven_at(begun_s) or fault.start_s < WALK_S[0]:
        return
    verdict.to_zero_s = run.zero_after_s(begun_s)
    within_s = RIGHTLY[fault.kind].within_s
    lasts = fault.end_s - fault.start_s
    if within_s is not None and lasts > within_s and _driven_long(run, begun_s):
        late_s = verdict.to_zero_s - within_s - MOMENT_S - DELAY_S * 2 - SERVO_S
        if late_s > 0:
            verdict.broken.append(
                f"{fault.kind} was cut after {verdict.to_zero_s:.3f} s, stated "
                f"{within_s:.3f} s"
            )


def _driven_long(run: Watched, begun_s: float) -> bool:
    """Whether the plan would have gone on driving for a while, well above idle."""
    if run.armed_ns is None:
        return False
    walk = plan()
    begun = run.stand.elapsed_s - (run.host_ns - run.armed_ns) * 1e-9
    into_s = begun_s - begun
    ahead = (walk.setpoint_at(into_s + k * 0.1) for k in range(16))
    return all(throttle >= 0.25 for throttle in ahead)


def _is_named_rightly(verdict: Verdict, ended: Ended) -> bool:
    if ended is Ended.COMPLETED:
        return True  # what had to be cut is judged by its time
    check = verdict.check
    if check.startswith("proof: "):
        return verdict.phase not in ("running", "ramping down", "locking", "arming")
    if check == "stop":
        return True  # left waiting for a person
    return check in names_for(frozenset(verdict.kinds))


def _judge_record(run: Watched, verdict: Verdict) -> None:
    """The run can be written, read, and says what the control said."""
    with tempfile.TemporaryDirectory() as folder:
        made = write_run(run, Path(folder))
        read = read_run(made)
        if not (read.sealed and read.intact):
            verdict.broken.append("the run cannot be read back whole")
        notes = [r.json() for r in run.records if r.kind is Kind.NOTE]
        outcome = next(n for n in notes if n["note"] == "outcome")
        if read.outcome is None or read.outcome["check"] != outcome["check"]:
            verdict.broken.append("the record says another end")
