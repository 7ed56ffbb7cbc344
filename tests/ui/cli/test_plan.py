import argparse
import json
import subprocess
import sys
from pathlib import Path

import pytest

from daq.errors import InputFault
from daq.records.shelf import Article
from protocols.limits import CHANNELS
from protocols.load_by_hand import LoadByHand
from protocols.plan import Plan
from protocols.recipe import catalogue_names, expand, load_recipe
from tests.protocols.files import changed
from ui.articles import example_article
from ui.cli import plan as command

DEMO = example_article()


def called(*words: str) -> int:
    parser = argparse.ArgumentParser(prog="gramwatt")
    command.add_parser(parser.add_subparsers(required=True))
    args = parser.parse_args(["plan", *words])
    status = args.run(args)
    assert isinstance(status, int)
    return status


def own_article(folder: Path, old: str = "", new: str = "") -> Path:
    path = folder / "mine.toml"
    text = DEMO.read_text(encoding="utf-8")
    path.write_text(text.replace(old, new) if old else text, encoding="utf-8")
    return path


def flat(text: str) -> str:
    """Text without its line breaks and indents."""
    return " ".join(text.split())


@pytest.mark.parametrize("protocol", catalogue_names())
def test_a_plan_fits_a_terminal_of_80_columns_and_any_encoding(
    protocol: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert called(protocol, "--load-cell-g", "1000") == 0
    out = capsys.readouterr().out
    assert max(len(line) for line in out.splitlines()) <= 80
    assert out.isascii()


def test_the_timeline_has_a_line_for_each_level_and_rest_under_its_heading(
    capsys: pytest.CaptureFixture[str],
) -> None:
    called("staircase")
    lines = capsys.readouterr().out.splitlines()
    heading = next(line for line in lines if line.startswith("  start"))
    first = lines.index(heading) + 2
    table = lines[first : lines.index("", first)]
    assert [line[9:18].strip() for line in table] == [
        "rest",
        *(f"up {step}" for step in range(1, 7)),
        "rest",
        *(f"down {step}" for step in range(6, 0, -1)),
        "rest",
    ]
    assert len({len(line) for line in (heading, lines[first - 1], *table)}) == 1
    ends = [len(heading[: heading.index(word)]) + len(word) for word in heading.split()]
    for line in table:
        # Columns of figures end where their headings end.
        assert all(line[end : end + 1] in ("", " ") for end in ends[2:])


def test_the_throttle_of_each_level_is_the_protocols(
    capsys: pytest.CaptureFixture[str],
) -> None:
    called("staircase")
    levels = [
        line.split()[3]
        for line in capsys.readouterr().out.splitlines()
        if line[9:].startswith("up ")
    ]
    assert levels == ["20", "35", "50", "65", "80", "95"]


def test_the_demos_article_is_the_default_and_said_to_be_simulated(
    capsys: pytest.CaptureFixture[str],
) -> None:
    called("short-staircase")
    out = capsys.readouterr().out
    assert "Article: Indoor quad, motor A (simulated)" in out
    assert "No --article given, so this is the demo's own." in out


def test_a_persons_own_article_is_not_called_the_demos(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = own_article(tmp_path, "simulated = true", "simulated = false")
    called("short-staircase", "--article", str(path))
    out = capsys.readouterr().out
    assert "demo" not in out
    assert "simulated" not in out.splitlines()[3]


def test_limits_are_shown_in_the_trades_units_with_their_source(
    capsys: pytest.CaptureFixture[str],
) -> None:
    called("short-staircase", "--load-cell-g", "1000")
    lines = capsys.readouterr().out.splitlines()
    rows = {line.split()[0]: line.split() for line in lines if line.startswith("  ")}
    assert rows["current"][1:4] == ["-3.0", "12.0", "A"]
    assert rows["voltage"][1:4] == ["9.9", "12.9", "V"]
    assert rows["thrust"][1:4] == ["-100.0", "1000.0", "gf"]
    assert rows["speed"][1:4] == ["none", "60000", "rpm"]
    said = flat("\n".join(lines))
    assert "Plug 12 A, tighter than motor 14 A." in said
    assert "Acts on 3 samples in a row outside, or 0.1 s of silence." in said


def test_without_a_load_cell_the_thrust_limit_is_pointed_at(
    capsys: pytest.CaptureFixture[str],
) -> None:
    called("short-staircase")
    assert "--load-cell-g GRAMS shows it here" in capsys.readouterr().out


def test_a_plan_that_would_trip_is_warned_of(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = own_article(tmp_path, "rated_a = 12", "rated_a = 6")
    assert called("short-staircase", "--article", str(path)) == 0
    assert "Warning: This plan would probably trip" in capsys.readouterr().out


def test_json_holds_a_plan_and_an_article_that_can_be_read_back(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert called("staircase", "--json") == 0
    data = json.loads(capsys.readouterr().out)
    assert Plan.from_dict(data["plan"]) == expand(load_recipe("staircase"))
    assert Article.from_dict(data["article"], "stdout").simulated
    assert data["preview"]["peak_current_a"] > 0


def test_without_a_protocol_the_catalogue_is_listed(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert called() == 0
    out = capsys.readouterr().out
    assert "staircase: Staircase, six levels up and down, 63 s" in out
    assert "short-staircase: " in out
    called("--json")
    listed = json.loads(capsys.readouterr().out)
    assert [recipe["name"] for recipe in listed] == list(catalogue_names())


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["stairs"], "no protocol"),
        (["gone.toml"], "no such file"),
        (["staircase", "--article", "gone.toml"], "no such file"),
        (["staircase", "--load-cell-g", "0"], "load cell's rated load is 0 g"),
        (["staircase", "--load-cell-g", "nan"], "load cell's rated load is nan g"),
    ],
)
def test_what_is_wrong_is_said_in_one_sentence(words: list[str], says: str) -> None:
    with pytest.raises(InputFault, match=says) as caught:
        called(*words)
    assert "\n" not in str(caught.value)


def test_offering_the_command_imports_nothing_heavy() -> None:
    script = (
        "import argparse, sys\n"
        "from ui.cli import plan\n"
        "plan.add_parser(argparse.ArgumentParser().add_subparsers())\n"
        "print(*{'pydantic', 'numpy', 'protocols', 'daq'} & set(sys.modules))"
    )
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=True
    )
    assert done.stdout.split() == []


TIMED = ("rated_a = 12", "rated_a = 4\nshort_a = 14\nshort_s = 6")


@pytest.mark.parametrize("protocol", catalogue_names())
def test_long_names_and_every_kind_of_limit_fit_eighty_columns(
    protocol: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = own_article(tmp_path, *TIMED)
    text = path.read_text().replace("Indoor quad, motor A", "Quad " + "long name " * 7)
    text = text.replace("burst_a = 25", "burst_a = 25\nmax_temperature_c = 100")
    path.write_text(text)
    called(protocol, "--article", str(path), "--load-cell-g", "1000", "--timed", "plug")
    out = capsys.readouterr().out
    assert max(len(line) for line in out.splitlines()) <= 80
    assert out.isascii()
    assert "The ESC may reach 100 C" in flat(out)


@pytest.mark.parametrize("protocol", catalogue_names())
def test_what_a_protocol_does_is_told_in_order_before_its_figures(
    protocol: str, capsys: pytest.CaptureFixture[str]
) -> None:
    called(protocol)
    out = flat(capsys.readouterr().out)
    places = [
        out.index(f"{number}. {flat(sentence)}")
        for number, sentence in enumerate(load_recipe(protocol).told(), start=1)
    ]
    assert places == sorted(places)
    if isinstance(
        load_recipe(protocol), LoadByHand
    ):  # nothing moves, nothing is foreseen
        assert places[-1] < out.index("nothing but a hand can switch the load off")
        assert "Peak current" not in out
        return
    assert places[-1] < out.index("Throttle in %") < out.index("Timeline")


def test_every_line_of_the_limits_tells_what_is_expected_how_near_and_when(
    capsys: pytest.CaptureFixture[str],
) -> None:
    called("short-staircase", "--load-cell-g", "1000")
    lines = capsys.readouterr().out.splitlines()
    heading = next(line for line in lines if line.startswith("  channel"))
    ends = [heading.index(w) + len(w) for w in ("expected", "limit", "at s")]
    rows = [
        line
        for line in lines[lines.index(heading) + 1 :]
        if line.split()[:1] and line.split()[0] in CHANNELS
    ]
    assert [row.split()[0] for row in rows] == ["current", "voltage", "thrust", "speed"]
    for row in rows:
        assert len(row) == len(heading)
        assert row.endswith("95 %")
        # Columns of figures end where their headings end.
        assert all(row[end : end + 1] == " " and row[end - 1] != " " for end in ends)
    # 2 s of rest, five levels of 1.8 s, 0.95 s of ramp.
    assert {row.split()[-3] for row in rows} == {"11.9"}


def test_a_limit_that_cannot_be_foreseen_has_no_figures_and_is_named(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = own_article(tmp_path, "thrust_coefficient = 0.17    # likewise", "")
    called("glide", "--article", str(path), "--load-cell-g", "1000")
    lines = capsys.readouterr().out.splitlines()
    thrust = next(line for line in lines if line.startswith("  thrust"))
    assert thrust.split()[4:] == ["-"] * 4
    assert "How near it comes to thrust cannot be foreseen" in flat(" ".join(lines))


def test_a_timed_part_is_shown_with_how_much_of_its_budget_is_used(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = own_article(tmp_path, *TIMED)
    called("short-staircase", "--article", str(path), "--timed", "plug")
    out = capsys.readouterr().out
    row = next(x for x in out.splitlines() if x.startswith("  plug")).split()
    assert row[1:6] == ["4.0", "A", "14.0", "A", "6.0"]
    assert row[8].isdigit()
    assert row[9] == "%"
    assert "Plug 14 A for 6 s, continuous 4 A." in flat(out)
    assert "14.0  A" in out  # the limit on current has moved up to it


def test_a_rating_for_seconds_that_is_not_in_use_is_pointed_at(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = own_article(tmp_path, *TIMED)
    called("short-staircase", "--article", str(path))
    out = flat(capsys.readouterr().out)
    assert "No timed limit is in use" in out
    assert "--timed plug would let the plug go from 4 A to 14 A for 6 s." in out


def test_a_plan_without_propeller_says_so_wherever_it_is_shown(
    capsys: pytest.CaptureFixture[str],
) -> None:
    called("idle-spin")
    out = capsys.readouterr().out
    assert "propeller off" in out.splitlines()[0]
    assert "1. Take the propeller off first" in out
    assert "Warning: Propeller off" in out
    called("idle-spin", "--json")
    assert "propeller off" in json.loads(capsys.readouterr().out)["plan"]["title"]
    called()
    listed = capsys.readouterr().out.splitlines()
    assert any("idle-spin: " in x and "propeller off" in x for x in listed)


def test_on_a_supply_nothing_is_said_of_a_pack(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "mine.toml"
    text = DEMO.read_text(encoding="utf-8")
    start, end = text.index("[pack]"), text.index("[plug]")
    supply = "[supply]\nvoltage_v = 12\ncurrent_limit_a = 14\n\n"
    path.write_text(text[:start] + supply + text[end:])
    called("staircase", "--article", str(path))
    out = flat(capsys.readouterr().out)
    assert "The supply does not run empty" in out
    assert "a spin may take" not in out
    assert "takes no current back" in out


def test_json_tells_what_it_does_and_how_near_it_comes(
    capsys: pytest.CaptureFixture[str],
) -> None:
    called("punch", "--json")
    data = json.loads(capsys.readouterr().out)
    assert data["told"] == load_recipe("punch").told()
    seen = data["preview"]
    assert [near["channel"] for near in seen["approaches"]] == [
        "current",
        "voltage",
        "speed",
    ]
    assert {budget["name"] for budget in seen["budgets"]} == {"charge", "energy"}
    assert seen["uses"] == []


@pytest.mark.parametrize(
    ("part", "says"),
    [("plug", "plug.short_a and plug.short_s"), ("wing", "'wing' has no timed limit")],
)
def test_a_part_that_cannot_be_timed_is_refused(part: str, says: str) -> None:
    with pytest.raises(InputFault, match=says):
        called("staircase", "--timed", part)


def test_a_wrong_protocol_of_ones_own_is_one_sentence_with_file_and_key(
    tmp_path: Path,
) -> None:
    path = changed(tmp_path, "punch", ("punch_s = 1.0", "punch_s = 60"))
    with pytest.raises(InputFault) as caught:
        called(str(path))
    assert str(caught.value) == f"{path}: punch_s is 60; it must be at most 5."
