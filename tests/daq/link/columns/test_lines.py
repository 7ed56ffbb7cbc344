"""Lines: any bytes, cut anywhere, give the same lines and the same counts."""

from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from daq.link.columns.lines import MAX_LINE, Lines

# Line ends and printable text are commoner than chance would have them.
some_bytes = st.lists(
    st.sampled_from(
        [b"\n", b"\r\n", b"\r", b"12.5,3", b"\xff", b"\xc3\xa9", b"x" * 180]
    )
    | st.binary(max_size=4),
    max_size=40,
).map(b"".join)


@given(some_bytes, st.lists(st.integers(0, 4000), max_size=8), st.booleans())
def test_cuts_change_neither_lines_nor_counts(
    data: bytes, cuts: list[int], begins_whole: bool
) -> None:
    whole, cut = Lines(begins_whole=begins_whole), Lines(begins_whole=begins_whole)
    expected = whole.feed(data)
    got: list[str] = []
    for start, end in pairwise(
        [0, *sorted(min(c, len(data)) for c in cuts), len(data)]
    ):
        got += cut.feed(data[start:end])
    whole.end()
    cut.end()
    assert got == expected
    assert cut.drops == whole.drops


@given(some_bytes)
def test_every_byte_is_in_a_line_or_in_the_count_of_what_was_dropped(
    data: bytes,
) -> None:
    lines = Lines()
    got = lines.feed(data)
    lines.end()
    kept = sum(len(line.encode()) for line in got)
    assert kept + lines.drops.bytes == len(data) - data.count(b"\n") - data.count(b"\r")


@given(st.lists(st.text(st.characters(codec="utf-8", exclude_characters="\r\n"))))
def test_whole_lines_are_those_of_a_plain_split(texts: list[str]) -> None:
    short = [text for text in texts if len(text.encode()) <= MAX_LINE]
    lines = Lines(begins_whole=True)
    got = lines.feed("".join(f"{text}\r\n" for text in short).encode())
    assert got == [text for text in short if text]
    assert lines.drops.lines == 0


def test_the_first_piece_of_a_port_opened_midway_is_no_line() -> None:
    lines = Lines()
    assert lines.feed(b"3,4\n1,2\n") == ["1,2"]
    assert (lines.drops.cut, lines.drops.bytes) == (1, 3)
    assert Lines(begins_whole=True).feed(b"3,4\n1,2\n") == ["3,4", "1,2"]


def test_an_endless_line_is_counted_and_never_kept() -> None:
    lines = Lines(begins_whole=True)
    for _ in range(1000):
        assert lines.feed(b"5" * 1000) == []
        assert len(lines._rest) <= MAX_LINE + 1
    assert lines.feed(b"\n1\n") == ["1"]
    assert (lines.drops.too_long, lines.drops.bytes) == (1, 1_000_000)


def test_the_longest_line_is_taken_and_one_more_byte_is_not() -> None:
    lines = Lines(begins_whole=True)
    assert lines.feed(b"a" * MAX_LINE + b"\n") == ["a" * MAX_LINE]
    assert lines.feed(b"a" * (MAX_LINE + 1) + b"\n") == []
    assert lines.drops.too_long == 1


def test_what_is_no_text_and_what_never_ended_is_counted() -> None:
    lines = Lines(begins_whole=True)
    assert lines.feed(b"\xff\xfe\n12\xc2\xb0\n3,") == ["12\u00b0"]
    lines.end()
    assert (lines.drops.not_text, lines.drops.cut) == (1, 1)
