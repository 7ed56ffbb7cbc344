"""Lines as the rest of the program understands stands: pages and samples.

A stand that prints lines has no lease, no limits and no state of its own, and its
identity says so with abilities of 0. One count is one step of the last printed digit,
so that the resolution told is the resolution there is. No I/O, no clock.
"""

import struct
from zlib import crc32

from daq.link import messages as m
from daq.link.columns.commands import filled_in
from daq.link.columns.description import COUNT_MAX, Channel, Description
from daq.link.columns.reading import Reason, Refusal, Refusals, Sample

BOARD = "prints lines"
BOOT = 1
STREAM = 0
_SINGLE = struct.Struct("<f")


def identity(description: Description) -> m.Identity:
    """Who the stand is, as far as anybody knows; it can do nothing to protect."""
    return m.Identity(
        link_version=m.LINK_VERSION,
        firmware_major=0,
        firmware_minor=0,
        boot=BOOT,
        stand_id=crc32(description.name.encode("utf-8")),
        abilities=m.Ability(0),
        channel_count=len(description.channels),
        stream_count=1,
        board=BOARD,
    )


def channel_pages(description: Description) -> tuple[m.ChannelPage, ...]:
    """What it measures, in the order of the description."""
    return tuple(_page(n, channel) for n, channel in enumerate(description.channels))


def stream_page(description: Description) -> m.StreamPage:
    """Its one stream: all channels of a line together."""
    period_us = round(1e6 / description.rate_hz)
    return m.StreamPage(STREAM, period_us, tuple(range(len(description.channels))))


def introduction(
    description: Description,
) -> tuple[m.Identity | m.ChannelPage | m.StreamPage, ...]:
    """Everything that the stand would say about itself if it could."""
    pages = channel_pages(description)
    return (identity(description), *pages, stream_page(description))


def _page(index: int, channel: Channel) -> m.ChannelPage:
    # Through four bytes and back: what is told is what counts are made with.
    (counts_per_unit,) = _SINGLE.unpack(_SINGLE.pack(1 / channel.step_si))
    return m.ChannelPage(
        index=index,
        quantity=channel.quantity,
        kind=channel.kind,
        width=4,
        counts_per_unit=counts_per_unit,
        zero_counts=0,
        low_counts=-COUNT_MAX,
        high_counts=COUNT_MAX,
        gain_u_ppm=m.NOT_KNOWN_PPM,
        delay_us=0,
        name=channel.name,
    )


class Translation:
    """Samples of one description to messages.

    Attributes:
        refusals: samples with a value that no count can tell.
        rounded: values printed finer than described, taken to the nearest count.
    """

    def __init__(self, description: Description) -> None:
        self.refusals = Refusals()
        self.rounded = 0
        self._channels = description.channels
        self._pages = channel_pages(description)
        self._layout = struct.Struct(f"<{len(self._pages)}i")

    def samples(self, sample: Sample) -> m.Samples | Refusal:
        """One sample as a stand would send it, or why it cannot be."""
        counts: list[int] = []
        for page, value_si in zip(self._pages, sample.values_si, strict=True):
            scaled = value_si * page.counts_per_unit
            # At either end a sensor is taken to say "at least this much".
            if not -COUNT_MAX < scaled < COUNT_MAX:
                name = self._channels[page.index].column
                return self.refusals.add(Reason.OUT_OF_RANGE, name, sample.line)
            counts.append(round(scaled))
        self.rounded += sum(
            number.decimals > channel.decimals
            for number, channel in zip(sample.printed, self._channels, strict=True)
        )
        time_us = round(sample.time_s * 1e6) % 2**32
        return m.Samples(STREAM, time_us, self._layout.pack(*counts))


def throttle_text(description: Description, setpoint: int) -> bytes | None:
    """What sets the throttle; None where the stand cannot be told.

    Args:
        description: of the stand.
        setpoint: hundredths of a percent, 0 to 10000.

    Raises:
        ValueError: the setpoint is outside its range.
    """
    template = description.commands.throttle
    return None if template is None else filled_in(template, setpoint).encode("ascii")


def stop_text(description: Description) -> bytes | None:
    """What stops the motor; a throttle of zero where nothing better is described."""
    stop = description.commands.stop
    return throttle_text(description, 0) if stop is None else stop.encode("ascii")


def keep_alive(description: Description) -> tuple[bytes, float] | None:
    """What says that somebody is there, and how often in seconds; None for nothing."""
    text = description.commands.keep_alive
    period_s = description.commands.keep_alive_period_s
    if text is None or period_s is None:
        return None
    return text.encode("ascii"), period_s
