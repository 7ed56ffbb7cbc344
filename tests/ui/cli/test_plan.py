import argparse
import json
import subprocess
import sys
from importlib import resources
from pathlib import Path

import pytest

from daq.errors import InputFault
from daq.records.shelf import Article
from protocols.plan import Plan
from protocols.recipe import catalogue_names, expand, load_recipe
from ui.cli import plan as command

DEMO = resources.files("ui.cli").joinpath("articles", command.DEMO_ARTICLE)


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
    assert "plug 12 A, tighter than motor 14 A" in "\n".join(lines)


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
        (["staircase", "--load-cell-g", "0"], "--load-cell-g is 0"),
        (["staircase", "--load-cell-g", "nan"], "--load-cell-g is nan"),
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
