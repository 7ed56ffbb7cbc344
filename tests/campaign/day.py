"""A day at a world's stand: its scales calibrated, its article spun and analysed.

What a person does, in virtual time, with the project's own parts: the steps of a
calibration, a plan of the catalogue, the record, the analysis. One world in so many
goes through control, proof, wire and record; the others are sampled off the plant
itself into the very tables that a record is read into, and from there on there is no
difference.
"""

import tempfile
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Final

import numpy as np
from typing_extensions import override

from daq.analysis.run import Analysis
from daq.analysis.statistics import window_mean
from daq.calibration.making import calibrate
from daq.calibration.meter import Meter, metered
from daq.calibration.readings import Reading
from daq.calibration.suspects import Sensor
from daq.calibration.text import to_dict
from daq.calibration.value import Calibration, Subject
from daq.link import messages as m
from daq.link.session import Health, Session, Stand
from daq.records.read import Decision, Run, Stream
from daq.records.shelf import Article
from daq.records.wirelog import Damage
from daq.stand.device import (
    FAST,
    SCALE,
    SLOW,
    SLOW_TICKS,
    TICK_S,
    ZERO_PULSE_S,
    Device,
)
from daq.stand.plant.bench import Plant
from daq.stand.plant.condition import Condition
from daq.stand.plant.truth import Truth
from protocols.control import Control
from protocols.limits import Limit
from protocols.plan import Plan
from protocols.recipe import expand, load_recipe
from protocols.task import Task
from tests.campaign.ledger import Ledger, Means
from tests.campaign.owner import Owner
from tests.runs import write_run
from tests.virtual import VirtualSpin
from ui.calibration_steps import Step, loading, metering
from ui.results import _analysis_of, analyse_folder

CALIBRATED_UTC: Final = "2026-05-08T09:00:00+00:00"
SPUN_UTC: Final = "2026-05-09T14:02:00+00:00"
WHOLE: Final = {"ended": "completed", "data": "whole"}
#: The plant's step where nothing turns, and where it is sampled without a wire.
REST_STEP_S: Final = 5e-3
SPIN_STEP_S: Final = 2e-3
FRAME_S: Final = 4e-3
SLOW_FRAMES: Final = round(SLOW_TICKS * TICK_S / FRAME_S)
#: What a person takes to set something down, and what one reading takes.
HANDS_S: Final = 3.0
WINDOW_S: Final = 2.0
NONCE: Final = 0x5A17


@dataclass(frozen=True, slots=True)
class Spun:
    """One run and its truth."""

    analysis: Analysis
    means: Means


# ------------------------------------------------------------------ calibrating


def calibrations(owner: Owner, stand: Stand) -> tuple[Calibration, ...]:
    """Thrust by masses, current and voltage by meters, as their owner would."""
    plant = Plant(owner.world.truth, 2 * owner.world.seed, step_s=REST_STEP_S)
    plant.plug_in = False
    plant.advance(3.0, ZERO_PULSE_S)
    return (
        _thrust(owner, stand, plant),
        _current(owner, stand, plant),
        _voltage(owner, stand, plant),
    )


def _thrust(owner: Owner, stand: Stand, plant: Plant) -> Calibration:
    readings = []
    for step in loading(owner.masses, series=3, hold_s=30.0):
        plant.placed_load_n = owner.forces_n[step.level] if step.level >= 0 else 0.0
        plant.advance(HANDS_S + step.hold_s, ZERO_PULSE_S)
        counts = []
        for _ in range(round(WINDOW_S / REST_STEP_S)):
            plant.advance(REST_STEP_S, ZERO_PULSE_S)
            if (count := plant.take_conversion()) is not None:
                counts.append(count)
        readings.append(_reading(step, counts, plant.time_s))
    plant.placed_load_n = 0.0
    return _made(stand, "thrust", readings, owner.masses)


def _current(owner: Owner, stand: Stand, plant: Plant) -> Calibration:
    shares = (0.1, 0.3, 0.5, 0.7, 0.9, 1.1)
    readings, typed = [], []
    for step in metering("current", len(shares)):
        true_a = owner.top[1] * shares[step.level] if step.level >= 0 else 0.0
        plant.looped_a = true_a
        readings.append(_reading(step, _fast(plant, 0), plant.time_s))
        if step.level >= 0:
            typed.append(_read_off(owner, owner.ammeter, 1, true_a))
    plant.looped_a = 0.0
    known = metered(owner.ammeter, typed, "A")
    return _made(stand, "current", readings, known)


def _voltage(owner: Owner, stand: Stand, plant: Plant) -> Calibration:
    cells = owner.world.truth.pack.cells
    packs = [(n, charge) for n in range(1, cells + 1) for charge in (0.2, 0.95)]
    packs += [(cells + 1, 0.1)] if cells < 3 else []
    readings, typed = [], []
    for step in metering("voltage", len(packs)):
        if step.level >= 0:
            n, charge = packs[step.level]
            plant.suffer(Condition(cells=n, charge_frac=charge))
        plant.plug_in = step.level >= 0
        plant.advance(1.0, 0.0)
        readings.append(_reading(step, _fast(plant, 2), plant.time_s))
        if step.level >= 0:
            typed.append(_read_off(owner, owner.voltmeter, 0, plant.bus_v))
    known = metered(owner.voltmeter, typed, "V")
    return _made(stand, "voltage", readings, known)


def _fast(plant: Plant, column: int) -> list[int]:
    """Counts of a fast channel over one reading, after it has settled."""
    plant.advance(1.0, 0.0)
    plant.fast_frame()
    counts = []
    for _ in range(round(WINDOW_S / (4 * REST_STEP_S))):
        plant.advance(4 * REST_STEP_S, 0.0)
        counts.append(plant.fast_frame()[column])
    return counts


def _read_off(owner: Owner, meter: Meter, which: int, true: float) -> float:
    """What a meter shows that is wrong by less than its maker states."""
    shown = true * (1.0 + owner.reads_rel[which])
    digits = owner.digits[which] * max(0, meter.digits - 1)
    return float(round(shown / meter.step + digits) * meter.step)


def _reading(step: Step, counts: Sequence[int], at_s: float) -> Reading:
    values = np.array(counts, dtype=np.float64)
    found = window_mean(np.linspace(0.0, WINDOW_S, values.size), values, 1.0)
    return step.reading(found, int(values.min()), int(values.max()), at_s)


def _made(
    stand: Stand, channel: str, readings: Sequence[Reading], known: object
) -> Calibration:
    page = stand.channel(channel)
    assert page is not None
    sensor = Sensor.of(page)
    subject = Subject(channel, sensor.unit, stand.identity.stand_id, simulated=True)
    return calibrate(readings, known, sensor, subject, CALIBRATED_UTC)  # type: ignore[arg-type]


# ------------------------------------------------------------------ spinning


def introduced(truth: Truth) -> Stand:
    """Who a stand says it is, asked over its wire."""
    device, session = Device(Plant(truth, 1)), Session()
    session.identify(0.0)
    for tick in range(2000):
        sent, _ = session.poll(tick * 1e-3)
        device.receive(sent)
        session.receive(device.advance(1), tick * 1e-3)
        if session.stand is not None:
            return session.stand
    raise ValueError("the stand never said who it is")


@cache
def plan_named(name: str) -> Plan:
    """A plan of the catalogue."""
    return expand(load_recipe(name))


@cache
def plan_to_the_top() -> Plan:
    """The same staircase as a person changes it who wants full throttle too."""
    recipe = load_recipe("staircase")
    levels = {"levels_percent": [20.0, 36.0, 52.0, 68.0, 84.0, 100.0]}
    return expand(recipe.model_validate(recipe.model_dump(exclude_none=True) | levels))


def header_of(
    owner: Owner, calibrated: Sequence[Calibration], plan: Plan
) -> dict[str, object]:
    """What the shelf and the order put into a run's header."""
    return {
        "format": 1,
        "utc": SPUN_UTC,
        "port": "test port",
        "simulated": True,
        "task": {"plan": plan.to_dict()},
        "article": owner.article,
        "calibrations": [to_dict(made) for made in calibrated],
        "versions": {"gramwatt": "0"},
    }


def spun(
    truth: Truth, seed: int, plan: Plan, header: dict[str, object], stand: Stand
) -> Spun:
    """Walked and sampled off the plant itself, then analysed as a record is."""
    plant = Plant(truth, seed, step_s=SPIN_STEP_S)
    ledger = Ledger(plant)
    fast: list[tuple[int, ...]] = []
    fast_s: list[float] = []
    cell: list[tuple[int, ...]] = []
    cell_s: list[float] = []
    slow: list[tuple[int, ...]] = []
    slow_s: list[float] = []
    for tick in range(round(plan.duration_s / FRAME_S)):
        _, segment, into_s = plan.segment_at(tick * FRAME_S)
        throttle = round(segment.setpoint_at(into_s) * m.THROTTLE_FULL)
        plant.advance(FRAME_S, 1e-3 * (1.0 + throttle / m.THROTTLE_FULL))
        ledger.keep()
        fast.append(plant.fast_frame())
        fast_s.append(plant.time_s)
        if (count := plant.take_conversion()) is not None:
            cell.append((count,))
            cell_s.append(plant.time_s)
        if (tick + 1) % SLOW_FRAMES == 0:
            slow.append(plant.slow_frame())
            slow_s.append(plant.time_s)
    tables = {FAST: (fast_s, fast), SCALE: (cell_s, cell), SLOW: (slow_s, slow)}
    run = _run(plan, header, stand, tables)
    return Spun(_analysed(run), ledger.means())


def _run(
    plan: Plan,
    header: dict[str, object],
    stand: Stand,
    tables: dict[int, tuple[list[float], list[tuple[int, ...]]]],
) -> Run:
    """What reading a record gives, where nothing was lost on the way."""
    streams = [
        Stream(
            index=layout.page.index,
            period_s=layout.page.period_us * 1e-6,
            channels=layout.channels,
            device_s=np.array(tables[layout.page.index][0], dtype=np.float64),
            counts=np.array(tables[layout.page.index][1], dtype=np.int64),
        )
        for layout in stand.layouts
        if layout.page.index in tables
    ]
    notes: list[dict[str, object]] = [{"note": "armed"}]
    at_s = 0.0
    for index, segment in enumerate(plan.segments):
        notes.append(
            {
                "note": "segment",
                "index": index,
                "kind": segment.kind,
                "leg": segment.leg,
                "step": segment.step,
                "throttle_frac": segment.end_frac,
                "device_s": at_s,
            }
        )
        at_s += segment.duration_s
    notes.append({"note": "walked", "device_s": at_s})
    return Run(
        folder=Path("nowhere"),
        header=header,
        descriptor={},
        sealed=True,
        intact=True,
        outcome=WHOLE,
        stand=stand,
        streams=tuple(streams),
        decisions=tuple(Decision(0.0, note) for note in notes),
        damage=Damage(),
        gaps=(),
        health=Health(),
        drops=0,
    )


def _analysed(run: Run) -> Analysis:
    data = run.header["article"]
    assert isinstance(data, dict)
    analysis = _analysis_of(run, Article.from_dict(data, "the campaign"))
    assert analysis is not None
    return analysis


# ------------------------------------------------------------------ by the wire


@dataclass
class Watched(VirtualSpin):
    """A virtual spin whose truth is kept."""

    ledger: Ledger | None = field(default=None)

    @override
    def step(self, ticks: int = 2) -> None:
        super().step(ticks)
        if self.ledger is not None:
            self.ledger.keep()


def spun_by_wire(
    owner: Owner, truth: Truth, seed: int, plan: Plan, header: dict[str, object]
) -> Spun:
    """Through control, proof, guard, wire and record, and read from its folder."""
    plant = Plant(truth, seed)
    thrust_n, current_a = owner.top
    rated_v = 4.4 * truth.pack.cells
    limits = (
        # Starting and a world's own offset are no danger here.
        Limit("current", -0.5 * current_a - 1.0, 9.0 * current_a, 3, 0.1, "plug"),
        Limit("voltage", 0.4 * rated_v, 1.1 * rated_v, 10, 0.1, "pack"),
        Limit("thrust", -thrust_n - 1.0, 2.5 * thrust_n, 2, 0.5, "load cell"),
    )
    control = Control(Task(plan, limits, NONCE), "test port")
    spin = Watched(control, Device(plant), ledger=Ledger(plant))
    spin.run()
    with tempfile.TemporaryDirectory() as parent:
        more = {key: header[key] for key in ("utc", "calibrations")}
        folder = write_run(spin, Path(parent), article=owner.article, more=more)
        results = analyse_folder(folder)
    assert results.analysis is not None, control.outcome
    assert spin.ledger is not None
    return Spun(results.analysis, spin.ledger.means())
