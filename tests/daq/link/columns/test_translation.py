"""Samples of lines as the rest of the program takes those of any stand."""

import math
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daq.link import messages as m
from daq.link.columns.description import Description
from daq.link.columns.reading import Reader, Reason, Refusal, Sample
from daq.link.columns.translation import (
    Translation,
    channel_pages,
    identity,
    introduction,
    keep_alive,
    stop_text,
    stream_page,
    throttle_text,
)
from daq.link.framing import frame
from daq.link.session import Identified, Sampled, Session
from tests.daq.link.columns.descriptions import (
    JSON,
    NAMED,
    WHOLE,
    described,
    one_channel,
)


def sampled(description: Description, line: str, now_s: float = 0.0) -> Sample:
    sample = Reader(description).take(line, now_s)
    assert isinstance(sample, Sample), sample
    return sample


def told(description: Description, line: str) -> float:
    """What one figure comes out as after all of it, in SI."""
    message = Translation(description).samples(sampled(description, line))
    assert isinstance(message, m.Samples)
    page = channel_pages(description)[0]
    return page.to_si(int.from_bytes(message.raw, "little", signed=True))


def test_the_identity_promises_nothing() -> None:
    who = identity(described())
    assert who.abilities == m.Ability(0)
    assert (who.board, who.channel_count, who.stream_count) == ("prints lines", 3, 1)
    assert who.stand_id == identity(described()).stand_id
    assert who.stand_id != identity(described(NAMED)).stand_id


@pytest.mark.parametrize("text", [WHOLE, NAMED, JSON])
def test_every_page_goes_over_the_wire_and_back(text: str) -> None:
    for page in introduction(described(text)):
        assert m.decode_from_stand(m.encode(page, 0)) == page


def test_the_session_takes_it_for_a_stand_and_reads_its_samples() -> None:
    description = described()
    session = Session()
    session.identify(0.0)
    message = Translation(description).samples(
        sampled(description, "2500000,412.50,11080,3.214,RUN")
    )
    assert isinstance(message, m.Samples)
    payloads = [*introduction(description), message]
    wire = b"".join(frame(m.encode(page, n)) for n, page in enumerate(payloads))
    identified, sample = session.receive(wire, 0.1)
    assert isinstance(identified, Identified)
    assert [c.name for c in identified.stand.channels] == [
        "thrust",
        "voltage",
        "current",
    ]
    assert isinstance(sample, Sampled)
    assert sample.device_s == 2.5
    values = [
        page.to_si(count)
        for page, count in zip(sample.layout.channels, sample.counts, strict=True)
    ]
    assert values == pytest.approx([412.5 * 9.80665e-3, 11.08, 3.214], rel=1e-7)
    assert session.health.malformed == 0


def test_the_stream_has_the_rate_that_is_described() -> None:
    assert stream_page(described()) == m.StreamPage(0, 12_500, (0, 1, 2))


@pytest.mark.parametrize("unit", ["gf", "kg", "N", "A", "mV", "rpm", "degC"])
@given(data=st.data())
def test_a_printed_value_comes_back_within_half_its_last_digit(
    data: st.DataObject, unit: str
) -> None:
    decimals = data.draw(st.integers(0, 4))
    places = Decimal(1).scaleb(-decimals)
    figure = data.draw(st.decimals(-20_000, 20_000, places=decimals))
    scale = data.draw(st.sampled_from([1.0, -1.0, 0.5, 2.0]))
    description = one_channel(unit, decimals, f"scale = {scale}", "offset = 12.3")
    channel = description.channels[0]
    low, high = sorted(
        channel.to_si(float(figure + side * places / 2)) for side in (-1, 1)
    )
    # Half a digit and what a double cannot hold of a number this size.
    slack = 1e-12 * max(abs(low), abs(high), 1.0)
    assert low - slack <= told(description, f"{figure:f}") <= high + slack


def test_a_bridge_count_of_24_bits_keeps_its_last_bit() -> None:
    description = one_channel("gf", 0, "scale = 0.00123", "offset = -210.5")
    step_n = 0.00123 * 9.80665e-3
    values = [told(description, str(count)) for count in (-8388608, 8388606, 8388607)]
    assert values[2] - values[1] == pytest.approx(step_n, rel=0.5)
    assert values[0] == pytest.approx((-8388608 * 0.00123 - 210.5) * 9.80665e-3)


def test_one_count_is_one_step_of_the_last_digit() -> None:
    pages = channel_pages(described())
    steps = [1 / page.counts_per_unit for page in pages]
    assert steps == pytest.approx([0.01 * 9.80665e-3, 0.001, 0.001], rel=1e-6)


def test_digits_beyond_the_ones_described_are_counted() -> None:
    description = described()
    translation = Translation(description)
    translation.samples(sampled(description, "0,412.50,11080,3.214,RUN"))
    assert translation.rounded == 0
    translation.samples(sampled(description, "0,412.504,11080.2,3.214,RUN"))
    assert translation.rounded == 2


@pytest.mark.parametrize("figure", ["21474900", "-21474900.5", "1e300"])
def test_a_value_beyond_what_a_count_tells_is_refused_and_counted(figure: str) -> None:
    description = one_channel("gf", 2)
    translation = Translation(description)
    refused = translation.samples(sampled(description, figure))
    assert isinstance(refused, Refusal)
    assert (refused.reason, refused.column) == (Reason.OUT_OF_RANGE, "a")
    assert translation.refusals.counts[Reason.OUT_OF_RANGE] == 1


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_any_figure_is_a_count_inside_the_channels_range_or_a_refusal(
    figure: float,
) -> None:
    description = one_channel("N", 3, "scale = -7.7")
    sample = Reader(description).take(repr(figure), 0.0)
    if isinstance(sample, Sample):
        message = Translation(description).samples(sample)
        page = channel_pages(description)[0]
        if isinstance(message, m.Samples):
            count = int.from_bytes(message.raw, "little", signed=True)
            assert page.low_counts <= count <= page.high_counts
            assert math.isfinite(page.to_si(count))


def test_time_is_told_in_32_bits_of_microseconds() -> None:
    description = one_channel("gf", 0)
    sample = sampled(description, "1", 2**32 * 1e-6 + 1.5)
    message = Translation(description).samples(sample)
    assert isinstance(message, m.Samples)
    assert message.time_us == 1_500_000


def test_the_most_channels_fit_into_one_frame() -> None:
    names = [f"c{n}" for n in range(14)]
    text = NAMED.split("[[channel]]")[0] + "".join(
        f'[[channel]]\nname = "{n}"\ncolumn = "{n}"\nunit = "V"\ndecimals = 2\n'
        for n in names
    )
    description = described(text)
    line = " ".join(f"{name}=1.25" for name in names)
    message = Translation(description).samples(sampled(description, line))
    assert isinstance(message, m.Samples)
    assert len(frame(m.encode(message, 0))) <= 68


def test_what_is_sent_to_the_stand() -> None:
    description = described()
    assert throttle_text(description, 4250) == b"T42.5\n"
    assert stop_text(description) == b"S\n"
    assert keep_alive(description) == (b"K\n", 0.2)


def test_without_a_stop_of_its_own_a_throttle_of_zero_stops() -> None:
    description = described(WHOLE.replace('stop = "S\\n"\n', ""))
    assert stop_text(description) == b"T0.0\n"


def test_a_stand_that_cannot_be_told_is_told_nothing() -> None:
    description = described(NAMED)
    assert throttle_text(description, 100) is None
    assert stop_text(description) is None
    assert keep_alive(description) is None
