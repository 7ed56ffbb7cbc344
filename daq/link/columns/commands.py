"""What a stand that prints lines can be told: texts, checked when they are read.

A throttle is a template such as ``T{percent:.1f}`` with a line end. Only three plain
fields may stand in it and nothing is ever looked up in them; a template that could
not tell one throttle from another is refused.
"""

import json
import re
from dataclasses import dataclass
from string import Formatter

from daq.link.messages import THROTTLE_FULL

FIELDS = ("percent", "fraction", "us")
MOST = 64
PULSE_ZERO_US = 1000
PULSE_SPAN_US = 1000
_ONE_PERCENT = THROTTLE_FULL // 100
_HEARD_NUMBER = r" *([0-9]+(?:\.[0-9]*)?)"
_HEARD_RANGES = {
    "percent": (0.0, 100.0),
    "fraction": (0.0, 1.0),
    "us": (float(PULSE_ZERO_US), float(PULSE_SPAN_US)),
}
# A width, a number of decimals, and how: enough, and nothing that could misbehave.
_FORM = re.compile(r"(?:0?[1-9])?(?:\.[0-6]f|f)?")
_ENDS = re.compile(r"[\r\n]")
_FORM_US = re.compile(r"(?:0?[1-9])?(?:d|\.[0-3]f|f)?")


@dataclass(frozen=True, slots=True)
class Commands:
    """Everything that a stand can be told; None for what it does not understand.

    Attributes:
        throttle: template of a throttle command.
        stop: text that stops the motor; without one a throttle of zero is sent.
        keep_alive: text that says that somebody is there.
        keep_alive_period_s: how often it has to be sent.
    """

    throttle: str | None = None
    stop: str | None = None
    keep_alive: str | None = None
    keep_alive_period_s: float | None = None


def filled_in(template: str, setpoint: int) -> str:
    """A throttle command.

    Args:
        template: checked by ``objection_to_throttle``.
        setpoint: hundredths of a percent, 0 to 10000.

    Raises:
        ValueError: the setpoint is outside its range.
    """
    if not 0 <= setpoint <= THROTTLE_FULL:
        raise ValueError(f"a throttle of {setpoint / 100:g} %")
    return template.format(
        percent=setpoint / 100,
        fraction=setpoint / THROTTLE_FULL,
        us=_pulse_us(setpoint),
    )


class HeardThrottle:
    """Reads a throttle command back, as the stand that it is for would."""

    def __init__(self, template: str) -> None:
        """Begin.

        Args:
            template: checked by ``objection_to_throttle``.
        """
        lines = (list(Formatter().parse(line)) for line in _lines(template))
        parts = next(line for line in lines if any(part[1] for part in line))
        pattern = "".join(
            re.escape(text) + (_HEARD_NUMBER if field else "")
            for text, field, _, _ in parts
        )
        self._pattern = re.compile(pattern)
        field = next(field for _, field, _, _ in parts if field)
        self._low, self._span = _HEARD_RANGES[field]

    def read(self, line: str) -> float | None:
        """The throttle, 0 to 1, in a line; None where it is another one."""
        found = self._pattern.fullmatch(line.strip())
        if found is None:
            return None
        frac = (float(found.group(1)) - self._low) / self._span
        return min(max(frac, 0.0), 1.0)


class HeardCommands:
    """Hears which line is one of the commands, as their stand does.

    Attributes:
        stop: lines that stop the motor.
        keep_alive: lines that say that somebody is there.
    """

    def __init__(self, commands: Commands) -> None:
        self.stop = _lines(commands.stop or "")
        self.keep_alive = _lines(commands.keep_alive or "")
        throttle = commands.throttle
        self._throttle = HeardThrottle(throttle) if throttle else None

    def throttle(self, line: str) -> float | None:
        """The throttle, 0 to 1, in a line; None where it is another one."""
        return None if self._throttle is None else self._throttle.read(line)

    def hears(self, line: str) -> bool:
        """Whether it is any of them, such as a sketch sends back."""
        words = line.strip()
        told = words in self.stop or words in self.keep_alive
        return told or self.throttle(words) is not None


def _lines(text: str) -> tuple[str, ...]:
    """The lines of a command, as whoever reads it by lines gets them."""
    found = (line.strip() for line in _ENDS.split(text))
    return tuple(line for line in found if line)


def _pulse_us(setpoint: int) -> int:
    """Rounded down: never more throttle than was asked for."""
    return PULSE_ZERO_US + setpoint * PULSE_SPAN_US // THROTTLE_FULL


def objection_to_text(text: str) -> str | None:
    """Why a text cannot be sent, as what to do about it; None when it can."""
    if "\\" in text:
        return (
            'it holds a backslash: write it in double quotes, so that "\\n" '
            "is a line end"
        )
    if not all(" " <= c <= "~" or c in "\r\n\t" for c in text):
        return "it may hold printable ASCII, line ends and tabs only"
    return None


def objection_to_throttle(template: str) -> str | None:
    """Why a template is none, as what to do about it; None when it is one."""
    objection = objection_to_text(template)
    if objection:
        return objection
    try:
        parts = list(Formatter().parse(template))
    except ValueError:
        return 'its braces do not match; write it like "T{percent:.1f}\\n"'
    fields = [part[1:] for part in parts if part[1] is not None]
    if not fields:
        return f"it needs one of {_named()} where the throttle goes"
    for name, form, conversion in fields:
        if name not in FIELDS:
            return f"{{{name}}} is not known in it; known are {_named()}"
        allowed = _FORM_US if name == "us" else _FORM
        if conversion or not allowed.fullmatch(form or ""):
            return f'{{{name}}} may be followed by a form like ":.1f" only'
    return _objection_to_joins(template) or _objection_to_steps(template)


def objection_to_end(text: str, throttle: str) -> str | None:
    """Why a text cannot be said beside a throttle command; None when it can.

    Args:
        text: a stop or a keep-alive.
        throttle: the template, checked by ``objection_to_throttle``.
    """
    if text.endswith(throttle[-1]):
        return None
    return (
        f"it must end as the throttle does, with {json.dumps(throttle[-1])}: else the "
        "next command would run into it, and neither be understood"
    )


def _objection_to_joins(template: str) -> str | None:
    """Where a number ends must be plain, whatever is said next."""
    parts = list(Formatter().parse(template))
    if parts[-1][1] is not None:
        return (
            "something must end its number, or the next command would run into it; "
            'put "\\n" at its end'
        )
    touches = any(not part[0] for part in parts[1:] if part[1] is not None)
    return "two numbers touch in it; put something between them" if touches else None


def _objection_to_steps(template: str) -> str | None:
    """Steps of a percent must be told apart, and the text must stay short."""
    texts = [filled_in(template, s) for s in range(0, THROTTLE_FULL + 1, _ONE_PERCENT)]
    if len(set(texts)) < len(texts):
        return "it must tell steps of 1 % apart; give it more decimals"
    if max(map(len, texts)) > MOST:
        return f"it may become at most {MOST} characters"
    return None


def _named() -> str:
    return ", ".join(f"{{{field}}}" for field in FIELDS)
