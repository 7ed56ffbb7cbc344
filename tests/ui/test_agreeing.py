"""Runs of an article that travelled, from folders to sentences, file and page."""

import json
import re
from pathlib import Path
from typing import Any

import pytest

from daq.errors import InputFault
from daq.stand.device import Device
from daq.stand.plant.bench import Plant
from daq.stand.plant.truth import shipped_truth
from protocols.control import Control
from tests.runs import write_run
from tests.spins import plan, task
from tests.travelling import ROUND, STANDS, a_round, article, spun_at
from tests.virtual import VirtualSpin
from ui.cli.main import main
from ui.club.agreeing import Round, hold_round, runs_in
from ui.club.agreement import read_agreement
from ui.club.agreement_use import agreement_for, agreement_of
from ui.comparing import compare_folders
from ui.report.robin import write_round

pytestmark = pytest.mark.slow

HOSTILE = '<script>alert("round")</script>'


@pytest.fixture(scope="module")
def folders(tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    return a_round(tmp_path_factory.mktemp("round"))


@pytest.fixture(scope="module")
def held(folders: list[Path]) -> Round:
    return hold_round(folders)


@pytest.fixture(scope="module")
def agreement(held: Round, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("agreement") / "agreement.json"
    path.write_text(json.dumps(agreement_of(held).to_dict()), "utf-8")
    return path


def test_known_gains_are_recovered_against_each_other(held: Round) -> None:
    """Stand by stand against the first, in thrust: what their cells read too much."""
    found = held.found["thrust"]
    true = [gains[0] for gains in STANDS.values()]
    first, *others = found.stands
    for one, gain in zip(others, true[1:], strict=True):
        half = 2.0 * (one.own_u**2 + first.own_u**2) ** 0.5
        assert half < 0.025
        assert one.log - first.log == pytest.approx(gain - true[0], abs=1.5 * half)
    assert held.name == ROUND
    assert [member.name for member in held.members] == ["Stand A", "Stand B", "Stand C"]


def test_the_stand_that_began_the_round_closes_it(held: Round) -> None:
    for found in held.found.values():
        assert found.closing is not None
        assert found.closing.changed is False
        assert found.closing.runs == (2, 2)


def test_the_order_is_that_of_the_runs_however_they_are_named(
    folders: list[Path], held: Round
) -> None:
    again = hold_round([folders[0].parent])
    assert [one.run.folder.name for one in again.results] == [
        one.run.folder.name for one in held.results
    ]
    backwards = hold_round(folders[::-1])
    assert backwards.found["thrust"].closing is not None


def test_the_command_tells_table_sentences_and_cautions(
    folders: list[Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out, page = tmp_path / "agreement.json", tmp_path / "round.html"
    whole = ["--out", str(out), "--page", str(page)]
    assert main(["club", "agree", str(folders[0].parent), *whole]) == 0
    said = " ".join(capsys.readouterr().out.split())
    for words in (
        f"round {ROUND} (simulated)",
        "repeatability s_r",
        "Stand B reads +",
        "against the consensus, by 2 runs",
        "3 stands say little of how stands differ",
        "The article came home as it left",
        "caution a stand is held against the others, not against the truth",
        str(out),
    ):
        assert words in said
    assert read_agreement(out).round == ROUND
    assert "Content-Security-Policy" in page.read_text("utf-8")


def test_lines_fit_a_terminal_of_eighty_columns(
    folders: list[Path], capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["club", "agree", str(folders[0].parent)]) == 0
    assert max(map(len, capsys.readouterr().out.splitlines())) <= 80


def test_json_holds_the_same(
    folders: list[Path], capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["club", "agree", *map(str, folders), "--json"]) == 0
    told: dict[str, Any] = json.loads(capsys.readouterr().out)
    thrust = told["quantities"]["thrust"]
    assert told["simulated"] is True
    assert len(thrust["stands"]) == 3
    bias = thrust["stands"][1]["bias"]
    assert bias[1] < bias[0] < bias[2]
    assert thrust["closing"]["changed"] is False


def test_an_agreement_allows_a_verdict_across_stands(
    agreement: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The second reads 3 % too much: that alone is no difference of the articles."""
    one, other = (article(None, name=name) for name in ("motor A", "motor B"))
    same = [
        spun_at(tmp_path, stand, number, told=told)
        for stand, number, told in (
            (0x51, 30, one),
            (0x52, 31, other),
            (0x52, 32, other),
            (0x51, 33, one),
        )
    ]
    told = read_agreement(agreement)
    plain = compare_folders(same).compared["motor B"].differences
    known = compare_folders(same, agreement=told)
    better = known.compared["motor B"].differences
    for before, after in zip(plain, better, strict=True):
        half = [(one.mean[2] - one.mean[1]) / 2 for one in (before, after)]
        assert half[1] < half[0] / 2
        assert after.mean[1] < 0 < after.mean[2]
        assert after.stands is not None
        assert after.stands.known == 2
        assert after.stands.moved == pytest.approx(-0.03, abs=0.02)
    assert any("taken from the round robin" in words for words in known.cautions)
    assert main(["compare", *map(str, same), "--agreement", str(agreement)]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "Biases of 2 of the stands, known from a round robin, are taken off" in said


def test_a_stand_that_took_no_part_counts_with_what_stands_differ_by(
    agreement: Path, tmp_path: Path
) -> None:
    one, other = (article(None, name=name) for name in ("motor A", "motor B"))
    runs = [
        spun_at(tmp_path, 0x51, 30, told=one),
        spun_at(tmp_path, 0x52, 31, told=other),
    ]
    told = read_agreement(agreement)
    kept = told.model_copy(
        update={
            "quantities": {
                what: found.model_copy(
                    update={"biases": dict(list(found.biases.items())[:1])}
                )
                for what, found in told.quantities.items()
            }
        }
    )
    both = compare_folders(runs, agreement=told).compared["motor B"].differences
    half = compare_folders(runs, agreement=kept).compared["motor B"].differences
    for two, single in zip(both, half, strict=True):
        assert single.stands is not None
        assert (single.stands.known, single.stands.unknown) == (1, 1)
        assert single.shared_u > two.shared_u


def test_an_agreement_of_simulated_stands_says_nothing_of_real_ones(
    agreement: Path, folders: list[Path]
) -> None:
    held = agreement_for(read_agreement(agreement), ["stand 00000099"])
    assert not held.of("thrust").biases
    assert held.of("thrust").between is not None


def test_a_page_needs_nothing_and_believes_nobody(
    folders: list[Path], tmp_path: Path
) -> None:
    told = article(travels=HOSTILE, name=HOSTILE)
    runs = [spun_at(tmp_path, stand, n, told=told) for n, stand in enumerate(STANDS)]
    page = tmp_path / "round.html"
    held = hold_round(runs)
    write_round(held, page)
    text = page.read_text("utf-8")
    assert "<script" not in text
    assert "&lt;script&gt;" in text
    assert not re.search(r'(src|href)="(?!#)', text)
    # One run of each: no interval anywhere, and said so.
    assert "mount it three times at each stand" in text
    assert "nobody knows whether it changed on its way" in text
    assert agreement_of(held).quantities["thrust"].biases == {}


def test_what_is_no_round_is_refused(folders: list[Path], tmp_path: Path) -> None:
    home = spun_at(tmp_path, 0x51, 40, told=article(None))
    with pytest.raises(InputFault, match="is of an article that travels"):
        hold_round([home])
    with pytest.raises(InputFault, match="two stands or more"):
        hold_round(folders[:2])
    short = VirtualSpin(
        Control(task(walked=plan()), "test port"),
        Device(Plant(shipped_truth(), 1)),
    )
    short.at_walk(0.5, lambda spun: spun.order(order="stop"))
    short.run()
    silent = write_run(short, tmp_path / "silent", article=article())
    with pytest.raises(InputFault, match=r"held against another: .*no plateau"):
        hold_round([silent, home])
    with pytest.raises(InputFault, match='round robin "spring"'):
        hold_round(folders, "spring")
    with pytest.raises(InputFault, match="no such folder"):
        runs_in(tmp_path / "nowhere")
    other = spun_at(tmp_path, 0x52, 41, told=article("spring"))
    with pytest.raises(InputFault, match="several round robins"):
        hold_round([*folders, other])
    held = hold_round([*folders, home, other], ROUND)
    assert len(held.set_aside) == 2


def test_runs_of_one_traveller_are_one_article_whoever_wrote_it_down(
    folders: list[Path], tmp_path: Path
) -> None:
    pack = article()["pack"] | {"capacity_mah": 850, "name": "another pack"}
    mine = spun_at(tmp_path, 0x52, 42, told=article(name="what came", pack=pack))
    found = compare_folders([folders[0], mine])
    assert [len(group.results) for group in found.groups] == [2]
    motor = article()["motor"] | {"name": "motor B"}
    wrong = spun_at(tmp_path, 0x52, 43, told=article(motor=motor))
    with pytest.raises(InputFault, match="its motor is"):
        compare_folders([folders[0], wrong])
    with pytest.raises(InputFault, match="its motor is"):
        hold_round([*folders, wrong])


def test_travelling_is_shown_with_a_run(
    folders: list[Path], capsys: pytest.CaptureFixture[str]
) -> None:
    from ui.report.setup import article_parts
    from ui.results import analyse_folder

    assert main(["findings", str(folders[0])]) == 0
    assert "travels    this very article" in capsys.readouterr().out
    found = analyse_folder(folders[0]).article
    assert found is not None
    last = article_parts(found)[-1]
    assert (last.name, last.words) == ("Round robin", ROUND)
