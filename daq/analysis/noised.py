"""Findings about supply noise: ripple, dip, overshoot, lines and what is folded.

Each function writes one finding, or None where the run has not what it takes. Only
picks, converts and words; the captures were read in ``noise``.
"""

from dataclasses import replace
from typing import Final

from daq.analysis.aliases import Aliases, Told
from daq.analysis.captures import Capture
from daq.analysis.findings import (
    Evidence,
    Finding,
    Reading,
    bare_text,
    finding_of,
    in_words,
    reading,
    remark_of,
    text_of,
)
from daq.analysis.lines import Line
from daq.analysis.measured import Measured, Source
from daq.analysis.ripple import Ripple
from daq.analysis.rounding import figure, in_passing
from daq.analysis.transient import PEAKS, Transient
from daq.units import milli

CHANNEL: Final = "voltage"
STATES: Final = {
    "level": "while throttle is held",
    "cruise": "at cruise",
    "burst": "in the burst",
    "punch": "around the punch",
    "drop": "around the drop of throttle",
    "chop": "around the chop",
}
WHEN: Final = {
    "punch": "Under the punch",
    "drop": "After the drop of throttle",
    "chop": "After the chop",
}
#: Lines that are told by name.
TOLD_LINES: Final = 3
NOT_ONLY_IN_BAND: Final = (
    "what is faster than the band and passes the stand's filter is folded into it; "
    "captures at two rates tell which lines are"
)
LOUDER: Final = "ripple and all, by single samples"


def ripple(evidence: Evidence) -> Finding | None:
    """How much the supply ripples, and in which band."""
    noise = evidence.noise
    group = noise.loudest(CHANNEL) if noise else None
    if group is None:
        return None
    rms = reading(group.rms_si, 0, "mV", milli)
    swing = reading(group.peak_to_peak_si, 0, "mV", milli)
    if rms is None or swing is None:
        return None
    one = group.first
    most = max(0.0, rms.high)
    if rms.low <= 0.0:
        said = f"ripples by less than {figure(most, most)} mV rms"
    else:
        said = f"ripples by {text_of(rms)} rms, {bare_text(swing)} peak to peak"
    return _told(
        evidence,
        "supply-ripple",
        f"Between {band_text(one.band_hz)} the supply {said}, {_state(one)}.",
        rms,
        one,
        len(group.ripples),
        NOT_ONLY_IN_BAND,
    )


def dip(evidence: Evidence) -> Finding | None:
    """How deep the supply goes under a punch, and how it comes back."""
    found = _largest(evidence, "dip")
    if found is None:
        return None
    one, change, depth, low = found
    slow = in_passing(milli(change.slow_si), depth.half_width)
    return _told(
        evidence,
        "supply-dip",
        f"{_when(one)} the supply dips by {text_of(depth)}, to {bare_text(low)}; "
        f"{slow} mV of it is slower than {hertz_text(one.split_hz)}"
        f"{_way_back(one, change)}.",
        depth,
        one,
        1,
        LOUDER,
    )


def overshoot(evidence: Evidence) -> Finding | None:
    """How far the supply overshoots when the throttle falls."""
    found = _largest(evidence, "rise")
    if found is None:
        return None
    one, change, above, high = found
    step = milli(one.capture.step_si)
    sample = replace(change.depth_si, sources=_without_peaks(change.depth_si))
    sure = reading(sample, 0, "mV", milli)
    if sure is None or sure.low <= step:
        most = max(above.high, step)
        said = f"overshoots by no more than {figure(most, most)} mV that could be seen"
    elif above.low <= 0.0:
        said = (
            f"overshoots by {bare_text(sure)} at least, to {bare_text(high)}: its peak "
            "lies between samples"
        )
    else:
        said = f"overshoots by {text_of(above)}, to {bare_text(high)}"
    return _told(
        evidence,
        "supply-overshoot",
        f"{_when(one)} the supply {said}{_ringing(change)}.",
        above,
        one,
        1,
        LOUDER,
    )


def _largest(
    evidence: Evidence, kind: str
) -> tuple[Ripple, Transient, Reading, Reading] | None:
    """The largest dip or rise, what it is in, how deep it goes and where to."""
    found = evidence.noise.change(CHANNEL, kind) if evidence.noise else None
    if found is None:
        return None
    one, change = found
    depth = reading(change.depth_si, 0, "mV", milli)
    extreme = reading(change.extreme_si, 0, "V")
    if depth is None or extreme is None:
        return None
    return one, change, depth, extreme


def lines(evidence: Evidence) -> Finding | None:
    """The largest lines of the ripple."""
    group = evidence.noise.loudest(CHANNEL) if evidence.noise else None
    if group is None or not group.first.lines:
        return None
    one = group.first
    told = [_line_text(line) for line in one.lines[:TOLD_LINES]]
    largest = reading(one.lines[0].amplitude_si, 0, "mV", milli)
    if largest is None:
        return None
    many = "line is" if len(told) == 1 else "lines are"
    return _told(
        evidence,
        "supply-lines",
        f"Its largest {many} seen at {in_words(told)}, amplitude each.",
        largest,
        one,
        1,
        NOT_ONLY_IN_BAND,
        "frequencies are by the stand's clock",
    )


def aliases(evidence: Evidence) -> Finding | None:
    """Which of the lines are real, by captures at two rates."""
    pair = evidence.noise.paired(CHANNEL) if evidence.noise else None
    if pair is None:
        return None
    first, second = (hertz_text(rate) for rate in pair.rates_hz)
    told = [words for words in (_kept(pair), *_moved(pair), _left(pair)) if words]
    sentence = f"Sampled at {first} and at {second}: {'; '.join(told)}."
    one = pair.faster
    return remark_of(
        "supply-aliases",
        sentence,
        None,
        "",
        (*_grounds(one, 1), *_grounds(pair.slower, 1)),
        evidence.cautions(
            (CHANNEL,),
            (
                f"origins beyond {hertz_text(pair.highest_hz)} were not looked for; "
                "the speed is taken to have been the same in both captures",
            ),
        ),
    )


def cannot_see(band_hz: tuple[float, float], period_s: float) -> tuple[str, ...]:
    """What captures of a band say nothing of, sentences to stand beside the figure."""
    low, high = band_hz
    return (
        f"Nothing faster than {hertz_text(high)} is seen as itself: the bridge's "
        "switching and its harmonics beyond it are missing, or folded into the band.",
        f"Samples stand {time_text(period_s)} apart: a shorter spike falls between "
        "them, and one of less than a microsecond is not there at all.",
        f"What is slower than {hertz_text(low)} was taken off as sag.",
        "The stand's own leads, plug and filter are in it: on the aircraft, with other "
        "leads, the supply ripples and rings differently.",
    )


def band_text(band_hz: tuple[float, float]) -> str:
    """A band: 1 and 50 kHz."""
    low, high = (hertz_text(hz) for hz in band_hz)
    if low.split()[-1] == high.split()[-1]:
        low = low.split()[0]
    return f"{low} and {high}"


def hertz_text(hertz: float) -> str:
    """A frequency in three digits."""
    return f"{hertz / 1e3:.3g} kHz" if hertz >= 1e3 else f"{hertz:.3g} Hz"


def time_text(seconds: float) -> str:
    """A time in three digits."""
    if seconds < 1e-3:
        return f"{1e6 * seconds:.3g} \N{MICRO SIGN}s"
    return f"{milli(seconds):.3g} ms"


def _told(
    evidence: Evidence,
    name: str,
    sentence: str,
    found: Reading,
    one: Ripple,
    count: int,
    *more: str,
) -> Finding:
    cautions = (*more, *_damage(one.capture), *cannot_see(one.band_hz, _period(one)))
    made = finding_of(evidence, name, sentence, found, (), (CHANNEL,), cautions)
    return replace(made, rests_on=(*_grounds(one, count), *made.rests_on))


def _period(one: Ripple) -> float:
    return one.capture.period_s


def _grounds(one: Ripple, count: int) -> tuple[str, ...]:
    capture = one.capture
    number = "1 fast capture" if count == 1 else f"{count} fast captures"
    span = time_text(capture.value_si.size * capture.period_s)
    return (
        f"{number} of {capture.channel} ({capture.label}), {one.seen} samples of "
        f"{span} at {hertz_text(1.0 / capture.period_s)}",
    )


def _damage(capture: Capture) -> tuple[str, ...]:
    found = []
    if capture.at_top:
        found.append(
            f"{capture.at_top} samples were at the end of what the stand can tell"
        )
    if capture.lost:
        found.append(f"{capture.lost} samples were lost on the line and are left out")
    return tuple(found)


def _state(one: Ripple) -> str:
    return STATES.get(one.capture.label, "in this capture")


def _when(one: Ripple) -> str:
    return WHEN.get(one.capture.label, "In a capture")


def _way_back(one: Ripple, change: Transient) -> str:
    if change.recovery is not None and change.recovery.frequency_hz is None:
        tau = reading(change.recovery.tau_s, 0, "ms", milli)
        if tau is not None:
            return f"; it comes back with a time constant of {bare_text(tau)}"
    if change.half_back_s is not None:
        return f"; it is half of the way back {time_text(change.half_back_s)} later"
    left_s = float(one.capture.t_s[-1]) - change.extreme_s
    if left_s < 0.3 * one.capture.value_si.size * one.capture.period_s:
        return "; the capture ends before it comes back"
    return ""


def _ringing(change: Transient) -> str:
    found = change.recovery
    if found is None:
        return ""
    tau_s = float(found.tau_s.value[0])
    if found.frequency_hz is None:
        return f", gone with a time constant of {time_text(tau_s)}"
    hertz = float(found.frequency_hz.value[0])
    return f", ringing at {hertz_text(hertz)}, gone in about {time_text(3.0 * tau_s)}"


def _line_text(line: Line) -> str:
    hertz = reading(line.frequency_hz, 0, "Hz")
    size = reading(line.amplitude_si, 0, "mV", milli)
    where = hertz_text(line.hertz)
    if hertz is not None and line.hertz >= 1e3:
        where = f"{in_passing(hertz.value / 1e3, hertz.half_width / 1e3)} kHz"
    return where if size is None else f"{where} ({bare_text(size)})"


def _without_peaks(depth: Measured) -> dict[str, Source]:
    """What is sure of an extreme: a peak between samples can only be higher."""
    return {n: source for n, source in depth.sources.items() if n != PEAKS}


def _of(pair: Aliases, verdict: str) -> list[Told]:
    return [told for told in pair.told if told.verdict == verdict]


def _kept(pair: Aliases) -> str:
    kept = [_line_text(told.line) for told in _of(pair, "kept")]
    if not kept:
        return ""
    verb = "is" if len(kept) == 1 else "are"
    return f"{in_words(kept)} {verb} real, both show it"


def _moved(pair: Aliases) -> list[str]:
    found = [
        f"{_line_text(told.line)} moves as an alias of {hertz_text(told.origins_hz[0])}"
        for told in _of(pair, "alias")
    ]
    for told in _of(pair, "unclear"):
        places = in_words([hertz_text(hz) for hz in told.origins_hz])
        found.append(f"{_line_text(told.line)} may come from {places}: none is claimed")
    return found


def _left(pair: Aliases) -> str:
    alone = [_line_text(told.line) for told in _of(pair, "alone")]
    if not alone:
        return ""
    verb = "has" if len(alone) == 1 else "have"
    return f"{in_words(alone)} {verb} nothing at the other rate that fits"
