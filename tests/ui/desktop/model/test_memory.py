"""What is remembered between starts, and what is typed."""

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daq.errors import InputFault
from ui.desktop.model.memory import NAME, Memory
from ui.desktop.model.numbers import clock, figure, typed_number
from ui.desktop.model.setup import Setup, dwells, outline


def test_what_was_set_is_there_at_the_next_start(tmp_path: Path) -> None:
    first = Memory(tmp_path / "deep" / "er")
    first.set("width", 1400)
    first.set("article", "a.toml")
    first.push("articles", "a.toml")
    first.push("articles", "b.toml")
    first.push("articles", "a.toml")
    first.save()
    second = Memory(tmp_path / "deep" / "er")
    assert second.whole("width", 1) == 1400
    assert second.text("article") == "a.toml"
    assert second.texts("articles") == ["a.toml", "b.toml"]


@pytest.mark.parametrize(
    "content", [b"", b"{", b"[1, 2]", b"null", b"\xff\xfe", b"[" * 100_000]
)
def test_what_cannot_be_read_is_forgotten(tmp_path: Path, content: bytes) -> None:
    (tmp_path / NAME).write_bytes(content)
    memory = Memory(tmp_path)
    assert memory.whole("width", 7) == 7
    memory.save()


@pytest.mark.parametrize("value", [True, "1400", None, 1.5, [1]])
def test_a_value_of_another_kind_is_none(tmp_path: Path, value: object) -> None:
    memory = Memory(tmp_path)
    memory.set("width", value)
    assert memory.whole("width", 7) == 7


def test_a_place_that_cannot_be_written_stops_nobody(tmp_path: Path) -> None:
    blocked = tmp_path / "file"
    blocked.write_text("")
    memory = Memory(blocked / "below")
    memory.set("width", 1)
    memory.save()


@pytest.mark.parametrize(
    ("text", "value"),
    [("1000", 1000.0), ("1000,5", 1000.5), (" 12.5 ", 12.5), ("1e3", 1000.0)],
)
def test_a_decimal_comma_is_as_good_as_a_point(text: str, value: float) -> None:
    assert typed_number(text, "The load", 1, 2000) == value


@pytest.mark.parametrize(
    "text", ["", "abc", "1.000,5", "1,000,5", "nan", "inf", "1_0", "0", "99999", "٣a"]
)
def test_what_is_no_number_is_refused_in_a_sentence(text: str) -> None:
    with pytest.raises(InputFault, match="The load is"):
        typed_number(text, "The load", 1, 2000)


@given(st.text(max_size=30))
def test_whatever_is_typed_is_a_number_or_a_sentence(text: str) -> None:
    said = ""
    try:
        assert 1 <= typed_number(text, "It", 1, 9) <= 9
    except InputFault as fault:
        said = str(fault)
    assert not said or said.startswith("It is")


def test_figures_are_in_the_trades_units() -> None:
    assert figure("thrust", 1.0) == ("102.0", "gf")
    assert figure("current", -0.001) == ("0.00", "A")
    assert figure("plug-plus", 0.03214) == ("32.14", "mV")
    assert figure("voltage", float("nan"))[0] == "\N{EN DASH}"
    assert figure("current", float("inf"))[0] == "beyond range"
    assert figure("pulse", 0.0015) == ("1500", "µs")
    assert figure("esc-temp", 300.15) == ("27", "°C")


@pytest.mark.parametrize(
    ("seconds", "words"),
    [(0.0, "0.0 s"), (59.94, "59.9 s"), (61.0, "1 min 01 s"), (-3.0, "0.0 s")],
)
def test_times_are_short(seconds: float, words: str) -> None:
    assert clock(seconds) == words


# --------------------------------------------------------------- putting together


def test_the_example_can_be_spun_at_once(tmp_path: Path) -> None:
    setup = Setup(Memory(tmp_path))
    setup.recall()
    setup.work_out()
    assert setup.fault == ""
    assert setup.order is not None
    assert setup.seen is not None
    assert len(setup.protocols()) >= 7
    times_s, percents = outline(setup.order.plan)
    assert times_s[-1] == pytest.approx(setup.order.plan.duration_s)
    assert percents.max() == pytest.approx(95)
    assert len(dwells(setup.order.plan)) == 12


def test_what_is_wrong_is_a_sentence_and_nothing_can_be_spun(tmp_path: Path) -> None:
    setup = Setup(Memory(tmp_path), article=str(tmp_path / "gone.toml"))
    setup.work_out()
    assert setup.order is None
    assert "gone.toml" in setup.fault
    setup.article = ""
    setup.protocol = "no such"
    setup.work_out()
    assert "no such" in setup.fault
    assert setup.recipe is None


def test_an_article_from_the_future_is_told(tmp_path: Path) -> None:
    file = tmp_path / "later.toml"
    file.write_text('format = 9\nname = "from the future"\n')
    setup = Setup(Memory(tmp_path), article=str(file))
    setup.work_out()
    assert "format" in setup.fault
    setup.memory.push("articles", str(file))
    shelf = setup.articles()
    assert shelf[1].title == "later.toml"
    assert "format" in shelf[1].why


def test_what_was_used_is_used_again_if_it_is_there(tmp_path: Path) -> None:
    memory = Memory(tmp_path)
    setup = Setup(memory, article=str(tmp_path / "gone.toml"), protocol="glide")
    setup.load_cell_g = 500.0
    setup.remember()
    again = Setup(memory)
    again.recall()
    assert again.article == ""  # gone
    assert again.protocol == "glide"
    assert again.load_cell_g == 500.0


def test_a_hold_is_outlined_at_the_throttle_that_it_is_expected_to_take(
    tmp_path: Path,
) -> None:
    setup = Setup(Memory(tmp_path), protocol="hover-endurance")
    setup.work_out()
    assert setup.order is not None
    assert setup.seen is not None
    plan, rows = setup.order.plan, setup.seen.rows
    times_s, percents = outline(plan, rows)
    assert times_s[-1] == pytest.approx(plan.duration_s)
    assert max(percents) == pytest.approx(100 * rows[2].end_frac)
    assert max(percents) < 40.0
    assert max(outline(plan)[1]) == 75.0
    assert dwells(plan) == []  # nobody knows when it ends
