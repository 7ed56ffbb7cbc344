"""Runs of the demo's article for the tests of the page, and changed ones."""

from dataclasses import replace

from daq.records.read import Run, Stream
from daq.records.shelf import Article
from protocols.plan import Leg, Plan, Segment
from protocols.task import Task
from tests.spins import NONCE, spin
from tests.virtual import VirtualSpin
from ui.cli.plan import chosen_article
from ui.ordered import limits_for
from ui.results import Results, _analysis_of

LEVELS_FRAC = (0.25, 0.5, 0.75, 0.95)
LOAD_CELL_G = 1000.0


def four_levels() -> Plan:
    """Four levels up, a rest, and down again."""
    segments = [Segment("rest", "rest", -1, 0, 0, 2.0)]
    rising = list(enumerate(LEVELS_FRAC))
    legs: tuple[tuple[Leg, list[tuple[int, float]]], ...] = (
        ("up", rising),
        ("down", rising[::-1]),
    )
    for leg, levels in legs:
        before_frac = 0.0
        for step, level_frac in levels:
            ramp_s = abs(level_frac - before_frac) / 1.5
            segments += [
                Segment("ramp", leg, step, before_frac, level_frac, ramp_s),
                Segment("settle", leg, step, level_frac, level_frac, 0.6),
                Segment("dwell", leg, step, level_frac, level_frac, 0.8),
            ]
            before_frac = level_frac
        segments += [
            Segment("ramp", "rest", -1, before_frac, 0, 1.0),
            Segment("rest", "rest", -1, 0, 0, 2.5),
        ]
    return Plan("four-levels", "Four levels up and down", tuple(segments))


def demo_spin() -> VirtualSpin:
    """A spin of the demo's article over four levels, not yet run."""
    limits = limits_for(chosen_article(None), LOAD_CELL_G)
    return spin(Task(four_levels(), limits, NONCE))


def again(run: Run) -> Results:
    """What a changed run says, read from its own header."""
    data = run.header.get("article")
    article = Article.from_dict(data, "a test") if isinstance(data, dict) else None
    return Results(run, article, _analysis_of(run, article), run.folder)


def with_header(results: Results, **changes: object) -> Results:
    """The same run under a changed header."""
    return again(replace(results.run, header=dict(results.run.header) | changes))


def without_channel(results: Results, name: str) -> Results:
    """The same run from a stand that lacks a channel."""
    streams = tuple(_less(stream, name) for stream in results.run.streams)
    return again(replace(results.run, streams=streams))


def _less(stream: Stream, name: str) -> Stream:
    kept = [i for i, page in enumerate(stream.channels) if page.name != name]
    channels = tuple(stream.channels[i] for i in kept)
    return replace(stream, channels=channels, counts=stream.counts[:, kept])
