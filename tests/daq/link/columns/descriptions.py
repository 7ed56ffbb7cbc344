"""Descriptions that the tests share; the stand is an invented one."""

from daq.link.columns.description import Description, read_description

WHERE = "kitchen.toml"

HEAD = """
format = 1
name = "kitchen stand"
baud = 115200
form = "separated"
separator = "comma"
columns = ["t", "load", "bus", "amps", "state"]
skip = ["#"]
rate_hz = 80
"""
TIME = """
[time]
column = "t"
unit = "us"
wraps_at = 4294967296
"""
CHANNELS = """
[[channel]]
name = "thrust"
column = "load"
unit = "gf"
decimals = 2

[[channel]]
name = "voltage"
column = "bus"
unit = "mV"
decimals = 0

[[channel]]
name = "current"
column = "amps"
unit = "A"
decimals = 3
"""
COMMANDS = r"""
[commands]
throttle = "T{percent:.1f}\n"
stop = "S\n"
keep_alive = "K\n"
keep_alive_period_s = 0.2
"""
WHOLE = HEAD + TIME + CHANNELS + COMMANDS

NAMED = """
format = 1
name = "named stand"
baud = 115200
form = "named"
separator = "whitespace"
rate_hz = 10

[[channel]]
name = "thrust"
column = "load"
unit = "gf"
decimals = 1

[[channel]]
name = "speed"
column = "tacho"
unit = "Hz"
pulses_per_turn = 7
decimals = 0
"""
JSON = NAMED.replace('"named"', '"json"').replace('separator = "whitespace"\n', "")


def described(text: str = WHOLE) -> Description:
    """A description that is known to be sound."""
    return read_description(text, WHERE)


def one_channel(unit: str, decimals: int, *more: str, name: str = "x") -> Description:
    """A stand that prints one figure a line."""
    extra = "\n".join(more)
    return described(
        f"""
        format = 1
        name = "one"
        baud = 9600
        form = "separated"
        separator = "tab"
        columns = ["a"]
        rate_hz = 10
        [[channel]]
        name = "{name}"
        column = "a"
        unit = "{unit}"
        decimals = {decimals}
        {extra}
        """
    )
