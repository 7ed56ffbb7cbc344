"""What ``gramwatt capture`` prints, and what it writes for a program.

Words and figures only; everything was taken elsewhere.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from daq.analysis.waveform import Waveform, rounding_u, waveform_of
from daq.link import messages as m
from ui.cli.text import wrapped

if TYPE_CHECKING:
    from daq.link.bursts import Captured
    from daq.link.session import Stand

WIDTH = 72
ROWS = 9
_AXIS = 10
DRAWN, NOTHING, GONE = "#", " ", "?"
_PREFIXES = ((1.0, "s"), (1e-3, "ms"), (1e-6, "us"))


def time_text(seconds: float) -> str:
    """A duration with three digits: 6.63 ms, 26.0 us."""
    size = abs(seconds)
    factor, unit = next((f, u) for f, u in _PREFIXES if size >= f or u == "us")
    return f"{seconds / factor:.3g} {unit}"


def rate_text(hertz: float) -> str:
    """A rate: 38.5 kHz, 500 Hz."""
    return f"{hertz / 1e3:.3g} kHz" if hertz >= 1e3 else f"{hertz:.3g} Hz"


def values_of(captured: Captured) -> list[float | None]:
    """Its samples in the channel's SI unit, None where there is none."""
    page = captured.channel
    return [None if c is None else page.to_si(c) for c in captured.counts]


def simulated(stand: Stand) -> bool:
    """Whether the stand says that nothing of it is real."""
    return bool(stand.identity.abilities & m.Ability.SIMULATED)


def told(captured: Captured, stand: Stand) -> list[str]:
    """Everything about a capture, a paragraph an item."""
    values = values_of(captured)
    figures = waveform_of(values)
    lines = []
    if simulated(stand):
        lines.append(
            "SIMULATED: this stand says that nothing turns; none of it is real."
        )
    lines.append(_what(captured))
    if figures is None:
        lines.append("Not one of the samples has a value.")
        return lines
    lines += [_figures(captured, figures), _resolution(captured, figures)]
    lines.append(_blindness(captured))
    lines += _gaps(captured)
    lines.append(trace(captured, values, figures))
    return lines


def _what(captured: Captured) -> str:
    rate = rate_text(1.0 / captured.period_s)
    number, trigger = len(captured.counts), captured.trigger
    before = f", {trigger} of them from before the trigger" if trigger else ""
    return (
        f"{captured.channel.name}: {number} samples{before}; one every "
        f"{time_text(captured.period_s)} ({rate}), over {time_text(captured.span_s)}."
    )


def _figures(captured: Captured, figures: Waveform) -> str:
    unit = captured.channel.quantity.unit
    return (
        f"Mean {figures.mean:.4g} {unit}, peak to peak {figures.peak_to_peak:.3g} "
        f"{unit}, rms about the mean {figures.rms_about_mean:.3g} {unit}; by the "
        "stand's own constants, not calibrated."
    )


def _resolution(captured: Captured, figures: Waveform) -> str:
    unit, step = captured.channel.quantity.unit, captured.step_si
    said = (
        f"A sample is one of 255 steps of {step:.3g} {unit}: rounding alone makes an "
        f"rms of {rounding_u(step):.2g} {unit}, and nothing smaller than a step is "
        "seen."
    )
    if figures.peak_to_peak == 0.0:
        said += " All of them are the same: it moved by less than a step."
    if captured.at_top:
        said += (
            f" {captured.at_top} are at the end of what the stand can tell: so much, "
            "or more."
        )
    return said


def _blindness(captured: Captured) -> str:
    # Shannon 1949: a signal is known by its samples only below half their rate.
    half = rate_text(0.5 / captured.period_s)
    slowest = rate_text(1.0 / captured.span_s) if captured.span_s else "anything"
    return (
        f"It cannot show anything faster than {half}: what is faster looks like "
        f"something slower here (it folds). Nor anything slower than {slowest}, nor "
        "what a filter in front of the stand's input keeps out."
    )


def _gaps(captured: Captured) -> list[str]:
    lines = []
    if captured.unread:
        lines.append(
            f"{captured.unread} samples have no value: the stand looked at something "
            "else then."
        )
    if captured.lost:
        number = sum(last - first + 1 for first, last in captured.lost)
        where = ", ".join(f"{first} to {last}" for first, last in captured.lost)
        lines.append(
            f"{number} samples were lost on the line (numbers {where}); they are not "
            "in the figures. Try again for a whole capture."
        )
    return lines


def trace(captured: Captured, values: list[float | None], figures: Waveform) -> str:
    """Value over time in plain characters, ``^`` under the trigger.

    A column is a stretch of time, and is filled from the lowest to the highest sample
    in it; ``?`` where it has none.
    """
    wide = min(WIDTH - _AXIS, len(values))
    columns = [_column(values, n, wide, figures) for n in range(wide)]
    unit = captured.channel.quantity.unit
    labels = _labels(figures)
    lines = []
    for row in range(ROWS, 0, -1):
        label = labels.get(row, "")
        cells = "".join(_cell(column, row) for column in columns)
        lines.append(f"{label:>{_AXIS - 2}} |{cells}".rstrip())
    at = captured.trigger * wide // len(values)
    lines.append(f"{unit:>{_AXIS - 2}} +{'-' * at}^{'-' * (wide - at - 1)}")
    first, last = captured.times_s[0], captured.times_s[-1]
    ends = f"{time_text(first) if first else '0'}", time_text(last)
    gap = max(1, wide - len(ends[0]) - len(ends[1]))
    lines.append(" " * _AXIS + ends[0] + " " * gap + ends[1])
    return "\n".join(lines)


def _labels(figures: Waveform) -> dict[int, str]:
    """Values beside some rows, in as few digits as tell them apart."""
    rows = (1, (ROWS + 1) // 2, ROWS)
    values = [
        figures.low + (row - 0.5) / ROWS * figures.peak_to_peak + 0.0 for row in rows
    ]
    digits = range(4, _AXIS - 3)
    told = [[f"{value:.{n}g}" for value in values] for n in digits]
    apart = [texts for texts in told if len(set(texts)) == len(rows)]
    return dict(zip(rows, (*apart, told[-1])[0], strict=True))


def _column(
    values: list[float | None], number: int, wide: int, figures: Waveform
) -> tuple[int, int] | None:
    """Lowest and highest row of a column; None where it has no value."""
    first = number * len(values) // wide
    last = (number + 1) * len(values) // wide
    here = [value for value in values[first:last] if value is not None]
    if not here:
        return None
    return _row(min(here), figures), _row(max(here), figures)


def _row(value: float, figures: Waveform) -> int:
    if figures.peak_to_peak == 0.0:
        return (ROWS + 1) // 2
    share = (value - figures.low) / figures.peak_to_peak
    return min(ROWS, 1 + int(share * ROWS))


def _cell(column: tuple[int, int] | None, row: int) -> str:
    if column is None:
        return GONE if row == 1 else NOTHING
    return DRAWN if column[0] <= row <= column[1] else NOTHING


def paragraphs(lines: list[str]) -> str:
    """Paragraphs in eighty columns; the picture as it is."""
    return "\n".join(line if "\n" in line else wrapped(line) for line in lines)


def as_json(captured: Captured, stand: Stand) -> dict[str, object]:
    """The capture for a program, SI throughout."""
    values = values_of(captured)
    figures = waveform_of(values)
    return {
        "stand": f"{stand.identity.stand_id:08x}",
        "simulated": simulated(stand),
        "channel": captured.channel.name,
        "unit": captured.channel.quantity.unit,
        "period_s": captured.period_s,
        "trigger_index": captured.trigger,
        "trigger_device_s": captured.trigger_device_s,
        "step": captured.step_si,
        "samples": values,
        "lost": [list(span) for span in captured.lost],
        "without_value": captured.unread,
        "mean": figures.mean if figures else None,
        "peak_to_peak": figures.peak_to_peak if figures else None,
        "rms_about_mean": figures.rms_about_mean if figures else None,
    }


def as_csv(captured: Captured, stand: Stand) -> str:
    """A row a sample: seconds from the trigger, value, whether it is simulated."""
    unit = captured.channel.quantity.unit.replace("/", "_per_").replace(" ", "_")
    name = captured.channel.name.replace("-", "_")
    is_simulated = "yes" if simulated(stand) else "no"
    rows = [f"time_s,{name}_{unit.lower()},simulated"]
    for time_s, value in zip(captured.times_s, values_of(captured), strict=True):
        text = "" if value is None else f"{value:.6g}"
        rows.append(f"{time_s:.9g},{text},{is_simulated}")
    return "\n".join(rows) + "\n"
