"""What a calibration says, in words: for the terminal and for the desktop alike."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING

from daq.calibration.trials import percent

if TYPE_CHECKING:
    from daq.calibration.value import Calibration

E74_FACTOR = 2.4
E74_CLASS_A = 400.0
#: A mean of many readings is shown a little finer than one of them scatters.
MEAN_SHARE = 0.7
CAUTION_THRUST = (
    "Nothing turns while a channel is calibrated, and nothing here makes it: but hands "
    "are at the propeller now. Take the pack off, or pull the arming plug, and look "
    "that the voltage is gone. Take the propeller off if you can."
)
CAUTION_SUPPLY = (
    "The supply is on while this channel is calibrated. Take the propeller off, keep "
    "the stand locked, mind what can short, and cut the power before you change a wire."
)


def caution(channel: str) -> str:
    """What must be minded while a channel is calibrated."""
    return CAUTION_THRUST if channel == "thrust" else CAUTION_SUPPLY


def shown(channel: str, value_si: float) -> str:
    """A value in the trade's unit."""
    from protocols.limits import brief, to_trade

    value, unit = to_trade(channel, value_si)
    return f"{brief(value)} {unit}"


def resolved(channel: str, value_si: float, step_si: float) -> str:
    """A reading in the trade's unit, to the digit that its scatter leaves.

    Args:
        channel: whose reading it is.
        value_si: the reading.
        step_si: its scatter, positive.
    """
    from protocols.limits import to_trade

    value, unit = to_trade(channel, value_si)
    step, _ = to_trade(channel, step_si)
    decimals = max(0, -math.floor(math.log10(MEAN_SHARE * step)))
    rounded = round(value, decimals) + 0.0  # never minus zero
    return f"{rounded:.{decimals}f} {unit}"


def told(made: Calibration) -> list[tuple[str, str]]:
    """Labels and sentences, in the order in which a person wants them."""
    subject = made.subject
    simulated = "SIMULATED: " if subject.simulated else ""
    stand = f"{subject.specimen or f'stand {subject.stand_id:08x}'}"
    channel = subject.channel
    lines = [
        ("calibrated", f"{simulated}{channel} of {stand}, {made.made_utc[:16]} UTC"),
        ("identity", made.id),
        (
            "range",
            f"{shown(channel, made.low_si)} to {shown(channel, made.high_si)}, by a "
            f"{'gentle curve' if 2 in made.powers else 'straight line'} through "
            f"{_count(made)} readings",
        ),
        ("known to", _known(made)),
        *((trial.name, trial.sentence) for trial in made.trials),
        ("largest gap", f"{shown(channel, made.max_gap)} of one reading from the fit"),
    ]
    if subject.unit == "N":
        lines.append(("grade", _grade(made)))
    lines += [("mounting", _bias(bias)) for bias in made.biases]
    standards = dict.fromkeys(_standard(entry) for entry in made.standards)
    lines += [("standard", words) for words in standards]
    lines += [(key, words) for key, words in _facts(made.facts)]
    lines += [("caution", words) for words in made.cautions]
    if made.note:
        lines.append(("note", made.note))
    return lines


def worse(made: Calibration, kept: Iterable[Calibration]) -> str:
    """That the one that served until now was better known; "" where it was not.

    Args:
        made: the new one.
        kept: those that were kept before it.
    """
    from ui.calibrations import latest

    of = made.subject
    before = latest(kept, of.channel, of.stand_id, of.specimen)
    if before is None or before.u_rel >= made.u_rel:
        return ""
    return (
        f"The one before it, {before.id}, was known to {percent(before.u_rel)} and "
        f"this one is to {percent(made.u_rel)}: take this one's file away, and that "
        "one serves again."
    )


def _grade(made: Calibration) -> str:
    """How low it may be used, by the arithmetic of ASTM E74-18 (8.5 and 8.6)."""
    gaps = [p.residual_si for p in made.points if math.isfinite(p.residual_si)]
    freedom = max(1, len(gaps) - len(made.powers))
    factor_n = E74_FACTOR * math.sqrt(sum(gap**2 for gap in gaps) / freedom)
    channel = made.subject.channel
    return (
        f"readings lie within {shown(channel, factor_n)} of the fit 99 times in 100; "
        f"that is 0.25 % from {shown(channel, E74_CLASS_A * factor_n)} on (the rule of "
        "ASTM E74, for forces at rest)"
    )


def _count(made: Calibration) -> int:
    return sum(math.isfinite(point.residual_si) for point in made.points)


def _known(made: Calibration) -> str:
    """How good it is at its top, and why."""
    at_si = made.largest_si
    parts = sorted(made.budget(at_si).items(), key=lambda part: -part[1])
    causes = {cause.name: cause.words for cause in made.causes}
    worst = [
        f"{causes.get(name) or name} {percent(u / at_si)}"
        for name, u in parts[:3]
        if u > 0.0
    ]
    return (
        f"{percent(made.u_rel)} (standard uncertainty) at "
        f"{shown(made.subject.channel, at_si)}; most of it from {', '.join(worst)}"
    )


def _bias(bias: object) -> str:
    from daq.calibration.value import Bias

    if not isinstance(bias, Bias):
        return ""
    more = "more" if bias.difference_rel >= 0.0 else "less"
    return (
        f"{bias.what}: {percent(abs(bias.difference_rel))} {more}; half of it is in "
        "the uncertainty"
    )


def _standard(entry: Mapping[str, object]) -> str:
    mass, u = entry.get("mass_g"), entry.get("u_g")
    source = str(entry.get("source", ""))
    if isinstance(mass, int | float) and isinstance(u, int | float):
        return f"{entry.get('name')}: {mass:g} g, u {_g(u)}; {source}"
    return source


def _g(u: float) -> str:
    return f"{1e3 * u:.2g} mg" if u < 0.1 else f"{u:.2g} g"


def _facts(facts: Mapping[str, object]) -> list[tuple[str, str]]:
    found = []
    ratio, ratio_u = facts.get("lever_ratio"), facts.get("lever_u")
    if isinstance(ratio, int | float) and isinstance(ratio_u, int | float):
        words = f"{ratio:.4g}, u {ratio_u:.2g}; {facts.get('lever_source')}"
        found.append(("lever", words))
    value, u = facts.get("gravity_m_s2"), facts.get("gravity_u_m_s2")
    if isinstance(value, int | float) and isinstance(u, int | float):
        words = f"{value:.4f} m/s^2, u {u:.2g}; {facts.get('gravity_source')}"
        found.append(("gravity", words))
    return found
