"""What was on the stand, who the stand was, and what the link lost.

Lines of label and text for the page, taken from the record as it stands.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from ui.report.words import (
    NOT_ON_RECORD,
    counted,
    in_brief,
    plain,
    table_of,
    text_of,
    walked,
)

if TYPE_CHECKING:
    from daq.analysis.run import Analysis
    from daq.link.messages import ChannelPage
    from daq.records.read import Hold, Run
    from daq.records.shelf import Article

Lines = tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Part:
    """One part of the article.

    Attributes:
        name: what it is.
        words: its name in words, or empty.
        lines: what is known about it.
    """

    name: str
    words: str
    lines: Lines


# ------------------------------------------------------------------ the article

_PARTS: Final = (
    (
        "motor",
        "Motor",
        (
            ("kv_rpm_v", "Kv", "rpm/V"),
            ("poles", "Poles", ""),
            ("resistance_ohm", "Resistance between terminals", "\N{OHM SIGN}"),
            ("no_load_current_a", "No-load current", "A"),
            ("max_current_a", "Highest current, held", "A"),
            ("short_current_a", "Highest current, short", "A"),
            ("short_s", "for", "s"),
            ("max_winding_c", "Winding, at most", "\N{DEGREE SIGN}C"),
            ("mass_g", "Mass", "g"),
        ),
    ),
    (
        "propeller",
        "Propeller",
        (
            ("blades", "Blades", ""),
            ("diameter_mm", "Diameter, measured", "mm"),
            ("diameter_u_mm", "Its standard uncertainty", "mm"),
            ("printed_size", "Printed size", ""),
            ("max_rpm", "Speed limit", "rpm"),
            ("thrust_coefficient", "C_T, from earlier", ""),
            ("power_coefficient", "C_P, from earlier", ""),
            ("mass_g", "Mass", "g"),
        ),
    ),
    (
        "esc",
        "ESC",
        (
            ("continuous_a", "Current, continuous", "A"),
            ("burst_a", "Current, burst", "A"),
            ("burst_s", "for", "s"),
            ("max_temperature_c", "Temperature, at most", "\N{DEGREE SIGN}C"),
        ),
    ),
    (
        "pack",
        "Pack",
        (
            ("cells", "Cells in series", ""),
            ("capacity_mah", "Capacity", "mAh"),
            ("c_rate", "Discharge, as printed", "C"),
            ("resistance_mohm", "Resistance with leads", "m\N{OHM SIGN}"),
            ("min_cell_v", "Lowest under load, a cell", "V"),
            ("max_cell_v", "Full, a cell", "V"),
            ("mass_g", "Mass", "g"),
        ),
    ),
    (
        "supply",
        "Bench supply",
        (
            ("voltage_v", "Voltage, as set", "V"),
            ("current_limit_a", "Current limit", "A"),
            ("resistance_mohm", "Resistance with leads", "m\N{OHM SIGN}"),
        ),
    ),
    (
        "plug",
        "Plug",
        (
            ("rated_a", "Current, rated", "A"),
            ("short_a", "Current, short", "A"),
            ("short_s", "for", "s"),
        ),
    ),
    (
        "capacitor",
        "Capacitor at the ESC",
        (
            ("capacitance_uf", "Capacitance, as printed", "\N{MICRO SIGN}F"),
            ("rated_v", "Voltage, at most", "V"),
            ("esr_mohm", "Its own resistance", "m\N{OHM SIGN}"),
            ("lead_mm", "Each of its leads", "mm"),
            ("mass_g", "Mass", "g"),
        ),
    ),
    ("mount", "Mount", (("kind", "Kind", ""),)),
    (
        "air",
        "Air",
        (
            ("temperature_c", "Temperature", "\N{DEGREE SIGN}C"),
            ("pressure_hpa", "Pressure at the stand", "hPa"),
            ("humidity_percent", "Relative humidity", "%"),
        ),
    ),
    (
        "aircraft",
        "Aircraft",
        (
            ("motors", "Motors", ""),
            ("all_up_g", "All-up weight", "g"),
            ("electronics_a", "Electronics", "A"),
        ),
    ),
)


def article_parts(article: Article) -> list[Part]:
    """The article as it was described; what is not known is left out."""
    found = []
    for name, heading, fields in _PARTS:
        part = getattr(article, name)
        if part is None:
            continue
        lines = tuple(
            (label, _with_unit(value, unit))
            for key, label, unit in fields
            if (value := getattr(part, key)) is not None
        )
        found.append(Part(heading, getattr(part, "name", ""), lines))
    if article.travels is not None:
        told = (("This very specimen", "goes from stand to stand"),)
        found.append(Part("Round robin", article.travels, told))
    return found


def _with_unit(value: object, unit: str) -> str:
    text = plain(value) if isinstance(value, int | float) else str(value)
    return f"{text} {unit}".strip()


# ------------------------------------------------------------------ the stand


@dataclass(frozen=True, slots=True)
class Channel:
    """One channel as the stand declared it, ready to be read."""

    name: str
    measures: str
    kind: str
    counts_per_unit: str
    zero_counts: str
    gain: str
    delay_ms: str
    every_ms: str


def stand_lines(run: Run) -> Lines:
    """Who the stand said it was; empty where it never said."""
    if run.stand is None:
        return ()
    identity = run.stand.identity
    if run.described is not None:
        return (
            ("Stand", run.described.name),
            ("Speaks", f"lines of text at {run.described.baud} baud, as described"),
            ("Protects by", "nothing of its own"),
        )
    abilities = [a.name.lower().replace("_", " ") for a in identity.abilities if a.name]
    return (
        ("Stand", f"{identity.stand_id:08x}"),
        ("Board", identity.board or NOT_ON_RECORD),
        ("Firmware", f"{identity.firmware_major}.{identity.firmware_minor}"),
        ("Boot", str(identity.boot)),
        ("Link version", str(identity.link_version)),
        ("Protects by", ", ".join(abilities) or "nothing of its own"),
    )


def channels_of(run: Run) -> list[Channel]:
    """The stand's channels with their nominal constants."""
    if run.stand is None:
        return []
    every_s = {
        page.index: stream.period_s
        for stream in run.streams
        for page in stream.channels
    }
    return [_channel(page, every_s.get(page.index)) for page in run.stand.channels]


def _channel(page: ChannelPage, every_s: float | None) -> Channel:
    from daq.calibration.nominal import nominal

    known = nominal(page)
    percent = f"{100 * known.gain_u_rel:.3g} %"
    return Channel(
        name=page.name,
        measures=page.quantity.name.lower().replace("_", " "),
        kind=page.kind.name.lower(),
        counts_per_unit=f"{plain(page.counts_per_unit, 6)} /{page.quantity.unit}",
        zero_counts=str(page.zero_counts),
        gain=percent if known.declared else f"not stated; {percent} taken",
        delay_ms=f"{page.delay_us / 1e3:.4g}",
        every_ms="not sent" if every_s is None else f"{every_s * 1e3:.4g}",
    )


# ------------------------------------------------------------------ zeros


def zero_lines(run: Run, analysis: Analysis | None) -> Lines:
    """Every zero that was taken, and what else was read at rest before the run."""
    return (*_zeros_before(run), *_zeros_in_rests(run, analysis))


def _zeros_before(run: Run) -> Iterator[tuple[str, str]]:
    from daq.analysis.zeros import ZEROED
    from protocols.limits import to_trade

    for taken in run.notes("zeroed"):
        zeroed: list[str] = []
        read: list[str] = []
        for channel, value in table_of(taken.note, "means").items():
            if isinstance(value, int | float) and math.isfinite(value):
                shown, unit = to_trade(channel, value)
                part = f"{channel} {in_brief(shown)} {unit}".strip()
                (zeroed if channel in ZEROED else read).append(part)
        if zeroed:
            yield "Zero before arming, for the guard", ", ".join(zeroed)
        if read:
            yield "Read at rest before arming", ", ".join(read)


def _zeros_in_rests(run: Run, analysis: Analysis | None) -> Iterator[tuple[str, str]]:
    from daq.analysis.measured import t_factor
    from daq.analysis.rounding import figure
    from daq.analysis.zeros import ZEROED
    from protocols.limits import to_trade

    holds = walked(run)
    begin_s = holds[0].start_s if holds else 0.0
    at: dict[float, list[str]] = {}
    channels = analysis.plateaus.channels if analysis else {}
    for name in ZEROED:
        if name not in channels:
            continue
        rests = channels[name].rests
        halves = rests.u * t_factor(rests.dof)
        for t_s, value, half in zip(rests.time_s, rests.value, halves, strict=True):
            shown, unit = to_trade(name, float(value))
            width, _ = to_trade(name, float(half))
            text = f"{name} {figure(shown, width)} {unit}"
            at.setdefault(_rest_start_s(holds, float(t_s)), []).append(text)
    for start_s, texts in sorted(at.items()):
        yield f"Zero in the rest from {start_s - begin_s:.1f} s", ", ".join(texts)


def _rest_start_s(holds: Sequence[Hold], t_s: float) -> float:
    """When the rest began that a moment lies in."""
    rests = (h for h in holds if h.kind == "rest" and h.start_s <= t_s <= h.end_s)
    return next((rest.start_s for rest in rests), t_s)


# ------------------------------------------------------------------ the link


def link_lines(run: Run) -> Lines:
    """What the link carried and what it lost."""
    health, damage = run.health, run.damage
    lost = f"{health.lost}"
    whole = health.frames + health.lost
    if health.lost and whole:
        lost += f" ({100 * health.lost / whole:.2g} % of all)"
    unreadable = "none"
    if damage.places:
        unreadable = (
            f"{counted(damage.bytes, 'byte')} in {counted(damage.places, 'place')}"
            f"{', the last at its end' if damage.cut_short else ''}"
        )
    if run.described is not None:
        return (
            ("Lines used", str(health.frames)),
            ("Lines not used, such as damaged ones", str(health.malformed)),
            ("Other text, such as banners and echoes", str(health.unknown)),
            ("Pieces that were no line", str(run.drops)),
            ("Unreadable in the wire log", unreadable),
        )
    return (
        ("Frames understood", str(health.frames)),
        ("Frames lost, by their numbers", lost),
        ("Frames damaged on the wire", str(run.drops)),
        ("Good frames that made no sense", str(health.malformed)),
        ("Frames of an unknown type", str(health.unknown)),
        ("Samples of a stream not yet known", str(health.unsorted)),
        ("Unreadable in the wire log", unreadable),
    )


def version_lines(run: Run, sealed_hash: str, found_hash: str) -> Lines:
    """What recorded it, what analysed it, and what it can be told by."""
    from importlib.metadata import version

    recorded = [
        f"{name} {value}"
        for name, value in table_of(run.header, "versions").items()
        if isinstance(value, str | int | float)
    ]
    lines = [
        ("Run", run.folder.name),
        ("Recorded by", ", ".join(recorded) or NOT_ON_RECORD),
        ("Analysed by", f"gramwatt {version('gramwatt')}"),
        ("Wire log, hash", found_hash or "cannot be read"),
    ]
    if sealed_hash and sealed_hash != found_hash:
        lines.append(("Hash at the seal", sealed_hash))
    return tuple(lines)


def protocol_of(run: Run) -> tuple[str, str]:
    """Title and short name of the protocol; words where they are missing."""
    plan = table_of(table_of(run.header, "task"), "plan")
    name = text_of(plan, "protocol", NOT_ON_RECORD)
    return text_of(plan, "title", name), name
