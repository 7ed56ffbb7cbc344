"""The picture of a plan: what is high is high, what is read is marked so."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from protocols.plan import Plan, Segment
from protocols.recipe import catalogue_names, expand, load_recipe
from tests.protocols.articles import article
from ui.cli.sketch import MOVING, READ, ROWS, WIDTH, sketch

REST = Segment("rest", "rest", -1, 0.0, 0.0, 10.0)


def one_level(level_frac: float, held_s: float = 20.0) -> Plan:
    """Rest, one level, rest: ten seconds, so many, ten."""
    return Plan(
        "one",
        "One",
        (
            REST,
            Segment("ramp", "up", 0, 0.0, level_frac, 1.0),
            Segment("dwell", "up", 0, level_frac, level_frac, held_s),
            Segment("ramp", "rest", -1, level_frac, 0.0, 1.0),
            REST,
        ),
    )


def columns(plan: Plan) -> list[str]:
    """The picture's columns, from the bottom up, without axes."""
    rows = [line[5:].ljust(WIDTH - 5) for line in sketch(plan).splitlines()[:ROWS]]
    return ["".join(cells)[::-1].rstrip() for cells in zip(*rows, strict=True)]


@pytest.mark.parametrize("name", catalogue_names())
def test_a_picture_has_its_size_and_plain_characters(name: str) -> None:
    lines = sketch(expand(load_recipe(name), article())).splitlines()
    assert len(lines) == ROWS + 2
    assert all(len(line) <= WIDTH for line in lines)
    assert len(lines[ROWS]) == WIDTH
    assert set("".join(line[5:] for line in lines[:ROWS])) <= {READ, MOVING, " "}
    assert all(line == line.rstrip() for line in lines)
    assert lines[0].startswith("100 |")
    assert lines[-1].endswith(" s")


@given(st.integers(1, 100))
def test_a_level_is_drawn_to_the_nearest_tenth_but_never_as_nothing(
    percent: int,
) -> None:
    tallest = max(len(column) for column in columns(one_level(percent / 100)))
    assert abs(tallest - percent / 10) <= 0.5 or (percent < 5 and tallest == 1)


def test_a_level_stands_where_and_as_long_as_it_is_held() -> None:
    cells = columns(one_level(0.5))
    # 42 s over 67 columns: from 11 s to 31 s.
    read = [number for number, column in enumerate(cells) if READ in column]
    assert read[0] == pytest.approx(11 / 42 * 67, abs=1.5)
    assert read[-1] == pytest.approx(31 / 42 * 67, abs=1.5)
    assert read == list(range(read[0], read[-1] + 1))
    assert cells[read[0] - 2] == MOVING * len(cells[read[0] - 2])
    assert cells[0] == cells[-1] == ""


def test_a_moment_shorter_than_a_column_is_seen() -> None:
    blip = (
        Segment("punch", "up", 0, 0.0, 0.9, 0.1),
        Segment("burst", "up", 0, 0.9, 0.9, 0.2),
        Segment("punch", "rest", -1, 0.9, 0.0, 0.1),
    )
    long_rest = Segment("rest", "rest", -1, 0.0, 0.0, 300.0)
    plan = Plan("blip", "Blip", (long_rest, *blip, long_rest))
    assert max(len(column) for column in columns(plan)) == 9
    assert READ in "".join(columns(plan))


def test_a_warm_up_is_not_drawn_as_read() -> None:
    cells = columns(expand(load_recipe("shuffled-staircase")))
    # The warm-up lasts from 2 to 8 s of 83.
    assert READ not in "".join(cells[:8])
    assert MOVING in "".join(cells[:8])
