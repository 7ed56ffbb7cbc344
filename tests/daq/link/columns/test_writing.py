"""A description written as a file reads back as the same description."""

from hypothesis import given
from hypothesis import strategies as st

from daq.link.columns.commands import Commands
from daq.link.columns.description import (
    Channel,
    Description,
    StandTime,
    read_description,
)
from daq.link.columns.writing import description_text
from daq.link.messages import Kind
from tests.daq.link.columns.descriptions import JSON, NAMED, WHOLE, described

words = st.text(st.characters(codec="utf-8"), min_size=1, max_size=40)
sent = st.text(
    st.sampled_from(" abcT09!\r\n\t~\"'{}[]#="), min_size=1, max_size=60
).map(lambda text: text + "\n")
finite = st.floats(-1e6, 1e6)
scales = st.floats(0.5, 1e6) | st.floats(-1e6, -0.5)


@st.composite
def descriptions(draw: st.DrawFn) -> Description:
    columns = tuple(draw(st.lists(words, min_size=3, max_size=6, unique=True)))
    form = draw(st.sampled_from(["separated", "named", "json"]))
    separator = draw(st.sampled_from(["comma", "tab", "semicolon", "whitespace"]))
    alive = draw(st.none() | sent)
    no_comma = form == "json" or separator == "comma"
    return Description(
        name=draw(words.filter(lambda x: x.isprintable() and x == x.strip())),
        baud=draw(st.integers(300, 4_000_000)),
        form=form,
        separator="" if form == "json" else separator,
        columns=columns if form == "separated" else (),
        mark=draw(st.sampled_from("=:")) if form == "named" else "",
        decimal="." if no_comma else draw(st.sampled_from(".,")),
        exact_decimals=draw(st.booleans()),
        skip=tuple(draw(st.lists(st.sampled_from(["#", "//", '"\\']), max_size=2))),
        rate_hz=draw(st.floats(0.1, 2000)),
        time=draw(
            st.none()
            | st.builds(
                StandTime,
                st.just(columns[2]),
                st.sampled_from(["us", "ms", "s"]),
                st.none() | st.floats(1e7, 2.0**53),
            )
        ),
        channels=(
            Channel("thrust", columns[0], "N", 2, draw(scales), draw(finite)),
            Channel("speed", columns[1], "Hz", 0, 1.0, 0.0, Kind.MEAN, 7.0),
        ),
        commands=Commands(
            draw(st.sampled_from([None, "T{percent:.1f}\n", "{us}\r\n"])),
            draw(st.none() | sent),
            alive,
            draw(st.floats(0.02, 10)) if alive else None,
        ),
    )


@given(descriptions())
def test_any_description_comes_back(description: Description) -> None:
    assert read_description(description_text(description), "back") == description


def test_the_ones_written_by_hand_come_back() -> None:
    for text in (WHOLE, NAMED, JSON):
        assert described(description_text(described(text))) == described(text)
