"""A description as the text of a file, which reads back as the same description."""

import json

from daq.link.columns.description import FORMAT, Channel, Description
from daq.link.messages import Kind


def description_text(description: Description) -> str:
    """The TOML file of a description, without comments."""
    d = description
    lines = [
        f"format = {FORMAT}",
        f"name = {quoted(d.name)}",
        f"baud = {d.baud}",
        f"form = {quoted(d.form)}",
    ]
    if d.separator:
        lines.append(f"separator = {quoted(d.separator)}")
    if d.columns:
        lines.append(f"columns = {listed(d.columns)}")
    if d.mark:
        lines.append(f"mark = {quoted(d.mark)}")
    lines.append(f"decimal = {quoted(d.decimal)}")
    lines.append(f"exact_decimals = {str(d.exact_decimals).lower()}")
    if d.skip:
        lines.append(f"skip = {listed(d.skip)}")
    lines.append(f"rate_hz = {d.rate_hz!r}")
    lines += _time_lines(d)
    for channel in d.channels:
        lines += _channel_lines(channel)
    lines += _command_lines(d)
    return "\n".join(lines) + "\n"


def quoted(text: str) -> str:
    """Text as TOML writes it: the escapes of a JSON string are escapes there too."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def listed(texts: tuple[str, ...]) -> str:
    """A list of texts as TOML writes it."""
    return f"[{', '.join(map(quoted, texts))}]"


def _time_lines(description: Description) -> list[str]:
    time = description.time
    if time is None:
        return []
    lines = ["", "[time]", f"column = {quoted(time.column)}", f'unit = "{time.unit}"']
    if time.wraps_at is not None:
        lines.append(f"wraps_at = {time.wraps_at!r}")
    return lines


def _channel_lines(channel: Channel) -> list[str]:
    lines = [
        "",
        "[[channel]]",
        f"name = {quoted(channel.name)}",
        f"column = {quoted(channel.column)}",
        f"unit = {quoted(channel.unit)}",
        f"decimals = {channel.decimals}",
        f"scale = {channel.scale!r}",
        f"offset = {channel.offset!r}",
    ]
    if channel.kind is not Kind.POINT:
        lines.append(f'kind = "{channel.kind.name.lower()}"')
    if channel.pulses_per_turn is not None:
        lines.append(f"pulses_per_turn = {channel.pulses_per_turn!r}")
    return lines


def _command_lines(description: Description) -> list[str]:
    commands = description.commands
    texts = {
        "throttle": commands.throttle,
        "stop": commands.stop,
        "keep_alive": commands.keep_alive,
    }
    lines = [f"{key} = {quoted(text)}" for key, text in texts.items() if text]
    if commands.keep_alive_period_s is not None:
        lines.append(f"keep_alive_period_s = {commands.keep_alive_period_s!r}")
    return ["", "[commands]", *lines] if lines else []
