"""Text for a terminal of eighty columns."""

import pytest

from ui.cli.text import WIDTH, beside, framed, labelled, sentence, wrapped

LONG = "Look at the pulse pin and at the wire from there to the pin that reads it. " * 2


def test_text_beside_its_lead_keeps_to_its_column() -> None:
    lines = beside("  3/9  ", LONG).splitlines()
    assert lines[0].startswith("  3/9  Look")
    assert all(line.startswith(" " * 7) for line in lines[1:])
    assert max(len(line) for line in lines) < WIDTH


def test_a_long_label_pushes_its_text_on() -> None:
    assert labelled("NOT PROVEN", "lease") == "NOT PROVEN lease"
    assert labelled("a long label", "x") == "a long label x"


def test_a_frame_holds_all_of_its_text() -> None:
    lines = framed(LONG).splitlines()
    words = " ".join(" ".join(line.strip("! ") for line in lines).split())
    assert words == LONG.strip()
    assert {len(line) for line in lines} == {WIDTH}


def test_colour_comes_on_top_of_the_frame_and_can_be_left_out(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.delenv("NO_COLOR", raising=False)
    plain = framed(LONG)
    lines = framed(LONG, color=True).splitlines()
    assert all(line.endswith("\x1b[0m") for line in lines)
    bare = "\n".join(
        line.removeprefix("\x1b[1;97;41m").removesuffix("\x1b[0m") for line in lines
    )
    assert bare == plain
    monkeypatch.setenv("NO_COLOR", "1")
    assert framed(LONG, color=True) == plain


@pytest.mark.parametrize(
    ("text", "with_capital"), [("current was", "Current was"), ("", ""), ("3 A", "3 A")]
)
def test_a_sentence_begins_with_a_capital(text: str, with_capital: str) -> None:
    assert sentence(text) == with_capital


def test_a_figure_stays_with_its_unit() -> None:
    text = "x" * 75 + " 1.4 % of it, " + "y" * 62 + " 270 gf; 0.58 g/W"
    lines = wrapped(text).splitlines()
    assert lines[1].startswith("1.4 % of it")
    assert lines[2].startswith("270 gf")
    assert "\N{NO-BREAK SPACE}" not in wrapped(text)
