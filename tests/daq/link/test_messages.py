"""The wire language: layouts, ranges, and the page that specifies them."""

import math
import re
from contextlib import suppress
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daq.link import messages as m
from tests.daq.link.examples import FROM_STAND, PAGES, TO_STAND

README = Path(m.__file__).with_name("README.md").read_text(encoding="utf-8")


@given(FROM_STAND, st.integers(0, 0xFFFF))
def test_what_the_stand_says_is_read_back(message: m.FromStand, sequence: int) -> None:
    payload = m.encode(message, sequence)
    assert m.decode_from_stand(payload) == message
    assert m.head(payload) == (message.TYPE, sequence)


@given(TO_STAND, st.integers(0, 0xFFFF))
def test_what_the_host_says_is_read_back(message: m.ToStand, sequence: int) -> None:
    payload = m.encode(message, sequence)
    assert len(payload) <= 64
    assert m.decode_to_stand(payload) == message


@given(st.binary(min_size=3, max_size=64))
def test_any_payload_is_a_message_or_malformed(payload: bytes) -> None:
    for decode in (m.decode_from_stand, m.decode_to_stand):
        with suppress(m.MalformedMessage):
            decode(payload)


@pytest.mark.parametrize(
    ("type_code", "body"),
    [
        (m.Throttle.TYPE, m.Throttle.LAYOUT.pack(1, 10_001, 200, 0)),
        (m.Throttle.TYPE, m.Throttle.LAYOUT.pack(1, 0, 49, 0)),
        (m.Throttle.TYPE, m.Throttle.LAYOUT.pack(1, 0, 501, 0)),
        (m.Limits.TYPE, b"\x02" + b"\x00" * 7),
        (m.Limits.TYPE, b"\x01\x41\x04\x00\x05\x00\x01\x01"),
        (m.Limits.TYPE, b"\x01\x00\x05\x00\x04\x00\x01\x01"),
        (m.Limits.TYPE, b"\x01\x00\x04\x00\x05\x00\x00\x01"),
        (m.Limits.TYPE, b"\x01\x00\x04\x00\x05\x00\x01\x00"),
        (m.Lock.TYPE, b"\x01"),
        (m.Capture.TYPE, m.Capture.LAYOUT.pack(1, 1, 0, 0, 0, 0, 1, 0, 100)),
        (m.Capture.TYPE, m.Capture.LAYOUT.pack(1, 1, 0, 0, 9, 9, 1, 0, 100)),
        (m.Capture.TYPE, m.Capture.LAYOUT.pack(1, 1, 0, 0, 9, 0, 0, 0, 100)),
        (m.Capture.TYPE, m.Capture.LAYOUT.pack(1, 1, 0, 0, 9, 0, 4, 0, 100)),
        (m.Capture.TYPE, m.Capture.LAYOUT.pack(1, 1, 0, 0, 9, 0, 1, 0, 0)),
        (m.Capture.TYPE, m.Capture.LAYOUT.pack(1, 1, 0, 0, 9, 0, 1, 0, 5001)),
        (m.Capture.TYPE, bytes(18)),
    ],
    ids=[
        "throttle above full",
        "lease too short",
        "lease too long",
        "count does not match",
        "bit 6 of the channel",
        "low above high",
        "no persistence",
        "no age",
        "short body",
        "a capture of nothing",
        "all of it before the trigger",
        "no trigger",
        "an unknown trigger",
        "no patience",
        "too much patience",
        "a short capture",
    ],
)
def test_commands_outside_their_range_are_malformed(
    type_code: int, body: bytes
) -> None:
    with pytest.raises(m.MalformedMessage):
        m.decode_to_stand(bytes([type_code, 0, 0]) + body)


BLOCK = (1, 2, 0, 100, 50, 0, 26_000, 24, 64)


@pytest.mark.parametrize(
    "wrong",
    [
        {"first": 99},
        {"first": 100},
        {"trigger": 100},
        {"period_ns": 0},
        {"step": 0},
        {"channel": 64},
        {"total": 0},
        {"samples": b""},
    ],
    ids=lambda wrong: next(iter(wrong)),
)
def test_blocks_that_contradict_themselves_are_malformed(wrong: dict[str, int]) -> None:
    good = m.Burst(*BLOCK, b"ab")
    fields = {name: getattr(good, name) for name in m.Burst.__slots__} | wrong
    samples = fields.pop("samples")
    body = m.Burst.HEAD.pack(*fields.values()) + samples
    with pytest.raises(m.MalformedMessage):
        m.decode_from_stand(b"\x08\x00\x00" + body)
    with pytest.raises(ValueError, match=r"block|period"):
        m.Burst(**fields, samples=samples)


def test_a_block_holds_what_the_page_says() -> None:
    assert m.Burst.MOST == 39
    assert f"at most {m.Burst.MOST}." in README
    assert f"### 0x08 burst ({m.Burst.HEAD.size} + n bytes)" in README
    most = m.Burst(*BLOCK, bytes(39))
    assert len(m.encode(most, 0)) == 64
    with pytest.raises(ValueError, match="40 samples"):
        m.Burst(*BLOCK, bytes(40)).body()


@pytest.mark.parametrize("body", [b"", b"\x00", b"\x09", b"\xff\xff", b"\x01\x01"])
def test_a_stop_is_a_stop_whatever_came_with_it(body: bytes) -> None:
    assert isinstance(m.decode_to_stand(b"\x46\x00\x00" + body), m.Stop)


def test_neither_side_can_build_what_the_other_must_refuse() -> None:
    with pytest.raises(ValueError, match="140 %"):
        m.Throttle(1, 14_000, 200, 0)
    with pytest.raises(ValueError, match="lease"):
        m.Throttle(1, 0, 20, 0)
    with pytest.raises(ValueError, match="channel 65"):
        m.LimitEntry(65, 0, 1, 1, 1)


@given(PAGES, st.floats(-1e6, 1e6))
def test_counts_stay_in_the_channels_range(page: m.ChannelPage, value: float) -> None:
    assert page.low_counts <= page.to_counts(value) <= page.high_counts


def test_the_lowest_count_is_no_reading() -> None:
    page = m.ChannelPage(
        0, m.Quantity.CURRENT, m.Kind.MEAN, 2, 100.0, 0, -32767, 32767, 0, 0, "current"
    )
    assert math.isnan(page.to_si(-32768))
    assert page.to_si(250) == 2.5
    assert page.to_counts(math.inf) == 32767
    assert page.to_counts(-math.inf) == -32767


def test_the_limits_crc_is_that_of_the_body() -> None:
    narrow = m.Limits((m.LimitEntry(1, -10, 10, 3, 10),))
    wide = m.Limits((m.LimitEntry(1, -10, 40_000, 3, 10),))
    assert len(narrow.body()) == 8
    assert len(wide.body()) == 12
    assert narrow.crc != wide.crc


def test_more_limits_than_a_frame_holds_are_refused_here() -> None:
    entry = m.LimitEntry(1, -100_000, 100_000, 1, 1)
    assert len(m.Limits((entry,) * 5).body()) <= 61
    with pytest.raises(ValueError, match="do not fit"):
        m.Limits((entry,) * 6).body()


@pytest.mark.parametrize("kind", [*m.FROM_STAND, *m.TO_STAND], ids=hex)
def test_the_page_names_every_type_and_its_size(kind: int) -> None:
    owner = {
        c.TYPE: c
        for c in (
            m.Identity,
            m.ChannelPage,
            m.Event,
            m.Reply,
            m.Counters,
            m.Who,
            m.Arm,
            m.Throttle,
            m.Stop,
            m.Acknowledge,
            m.Lock,
            m.Capture,
        )
    }
    heading = re.search(rf"^### 0x{kind:02x} .*$", README, re.MULTILINE | re.IGNORECASE)
    assert heading, f"0x{kind:02x} is not on the page"
    if kind in owner:
        assert re.search(rf"\({owner[kind].LAYOUT.size} bytes?\)", heading.group())


def test_the_page_names_every_cause_and_verdict_code() -> None:
    causes = README[README.index("Causes.") :]
    verdicts = README[README.index("Verdicts:") :]
    for cause in m.Cause:
        assert re.search(rf"\b{int(cause)}\b", causes), cause
    for verdict in m.Verdict:
        words = verdict.name.lower().replace("_", " ")
        assert re.search(rf"\b{int(verdict)}\s+{words}", verdicts.replace("\n", " "))
