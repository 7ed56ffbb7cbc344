"""What to look for in what a stand sent: when a limit must act, and what came when."""

from collections.abc import Iterable

from tests.contract.host import Entry, Host
from tests.contract.stranger import Message

NO_READING = (-32768, -2147483648)


def readings(messages: Iterable[Message], channel: int) -> list[tuple[int, int]]:
    """Time and count of every reading of a channel; *no reading* is none."""
    return [
        (message["time_us"], message["counts"][channel])
        for message in messages
        if message["type"] == "samples"
        and channel in message["counts"]
        and message["counts"][channel] not in NO_READING
    ]


def rows(messages: Iterable[Message], limit: Entry) -> list[tuple[int, int, int]]:
    """Time, count and length so far of each row of readings outside a limit."""
    channel, low, high, _, _ = limit
    row, out = 0, []
    for time_us, count in readings(messages, channel):
        row = 0 if low <= count <= high else row + 1
        if row:
            out.append((time_us, count, row))
    return out


def due(messages: Iterable[Message], limit: Entry) -> tuple[int, int] | None:
    """Time and count of the reading that must trip, if one must."""
    for time_us, count, row in rows(messages, limit):
        if row >= limit[3]:
            return time_us, count
    return None


def after(event: Message, since_us: int) -> int:
    """Microseconds of device time from a stamp to an event."""
    return int((event["time_us"] - since_us) & 0xFFFFFFFF)


def only_event(host: Host, cause: int) -> Message:
    """The one event with that cause."""
    (event,) = [event for event in host.events() if event["cause"] == cause]
    return event
