"""Round robins among a club's entries: the same as from the runs themselves."""

import json
from pathlib import Path
from typing import Any

import pytest

from tests.club.invented import invented
from tests.travelling import ROUND, a_round
from ui.cli.main import main
from ui.club.agreeing import hold_round
from ui.club.agreement_use import agreement_of
from ui.club.building import build_club
from ui.club.entries import entry_of
from ui.club.entry import Entry
from ui.club.packing import Wishes, pack_runs
from ui.club.rounds import rounds_in
from ui.results import analyse_folder


@pytest.fixture(scope="module")
def folders(tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    return a_round(tmp_path_factory.mktemp("round"))


def travelled(entries: list[Entry], **given: Any) -> list[Entry]:
    """The entries as of one article that travels between two stands."""
    one = entries[0]
    article = one.article.model_copy(update={"travels": "spring"})
    return [
        entry.model_copy(
            update={
                "article": article,
                "curves": one.curves,
                "stand": f"{place % 2:016x}",
                "scale": f"{place % 2:016x}",
                **given,
            }
        )
        for place, entry in enumerate(entries)
    ]


@pytest.fixture(scope="module")
def entries() -> list[Entry]:
    return [shared.entry for shared in invented(6)]


def test_nothing_travelled(entries: list[Entry]) -> None:
    found = rounds_in(entries)
    assert found.best is None
    assert found.unused == ()


def test_a_round_between_two_stands(entries: list[Entry]) -> None:
    found = rounds_in(travelled(entries))
    (told,) = found.agreements
    assert told.round == "spring"
    assert [stand.runs for stand in told.stands] == [3, 3]
    assert told.simulated
    assert found.best is not None
    agreed = found.best.of("specific thrust")
    assert set(agreed.biases) == {"0" * 16, "0" * 15 + "1"}
    # The same curve everywhere: no stand is off.
    assert all(abs(bias.log) < 1e-9 for bias in agreed.biases.values())


def test_a_round_of_one_stand_says_why_it_says_nothing(entries: list[Entry]) -> None:
    found = rounds_in(travelled(entries, stand="0" * 16, scale="0" * 16))
    assert found.agreements == ()
    assert 'The round robin "spring" is not used' in found.unused[0]
    assert "two stands" in found.unused[0]


def test_what_is_called_by_two_names_did_not_travel(entries: list[Entry]) -> None:
    spun = travelled(entries)
    other = spun[1].article.model_copy(update={"motor": "another motor"})
    spun[1] = spun[1].model_copy(update={"article": other})
    found = rounds_in(spun)
    assert found.agreements == ()
    assert "its motor is" in found.unused[0]


def test_a_round_that_was_not_measured_serves_no_measured_runs(
    entries: list[Entry],
) -> None:
    evidence = entries[0].evidence.model_copy(
        update={"invented": False, "simulated": False}
    )
    real = entries[0].model_copy(update={"evidence": evidence})
    found = rounds_in([*travelled(entries), real])
    assert found.best is None
    assert "nothing in it was measured" in found.unused[0]


@pytest.mark.slow
def test_it_is_the_same_from_entries_as_from_runs(folders: list[Path]) -> None:
    (told,) = rounds_in([entry_of(analyse_folder(run)) for run in folders]).agreements
    own = agreement_of(hold_round(folders))
    assert told.round == own.round == ROUND
    assert told.stands == own.stands
    assert (told.closed, told.changed) == (own.closed, own.changed)
    for what, agreed in own.quantities.items():
        other = told.quantities[what]
        assert agreed.within is not None
        assert other.within is not None
        assert other.within.sd == pytest.approx(agreed.within.sd, rel=0.05)
        for key, bias in agreed.biases.items():
            assert other.biases[key].log == pytest.approx(bias.log, abs=2e-4)
            assert other.biases[key].u == pytest.approx(bias.u, rel=0.05)


@pytest.mark.slow
def test_a_club_that_packs_a_round_gets_a_page_of_its_stands(
    folders: list[Path],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.setenv("GRAMWATT_DATA", str(tmp_path / "shelf"))
    bundles = tmp_path / "bundles"
    bundles.mkdir()
    pack_runs(folders[:4], bundles / "round.zip", Wishes())  # two stands of three
    club = build_club(bundles, tmp_path / "site", "Tern Lane Model Flyers")
    assert club.refused == ()
    assert [told.round for told in club.rounds.agreements] == [ROUND]
    page = (tmp_path / "site" / "stands.html").read_text("utf-8")
    assert "Stands about what they agree on" in page
    # The same from the bundle by itself, and a run that is there twice counts once.
    (bundles / "no.zip").write_text("no")
    assert main(["club", "agree", str(bundles), str(folders[0]), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert sum(stand["runs"] for stand in told["stands"]) == 4
    assert "no.zip is refused" in told["left"][0]
