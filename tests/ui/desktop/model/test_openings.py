"""Bundles that came: one after the other, by somebody else, and never during a spin."""

import threading
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from daq.errors import InputFault, WorldFault
from tests.ui.desktop.club_bundles import LOG, Fake, checked, run
from ui.desktop.model.openings import MOST_OPEN, Opening, Stage

WAIT = threading.Event().wait
Open = Callable[[Fake], Opening]


@pytest.fixture
def opened() -> Iterator[Open]:
    made: list[Opening] = []

    def begin(fake: Fake) -> Opening:
        made.append(Opening(lambda: fake))
        return made[-1]

    yield begin
    for opening in made:
        opening.close()


def files(folder: Path, *names: str) -> list[Path]:
    paths = [folder / f"{name}.zip" for name in names]
    for path in paths:
        path.write_bytes(b"bytes")
    return paths


def walk(opening: Opening, *, may_work: bool = True) -> None:
    for _ in range(2000):
        opening.step(may_work=may_work)
        if not opening.busy:
            return
        WAIT(0.005)
    raise TimeoutError


def stages(opening: Opening) -> list[Stage]:
    return [bundle.stage for bundle in opening.bundles]


def until(opening: Opening, done: Callable[[], bool], *, may_work: bool = True) -> None:
    for _ in range(2000):
        opening.step(may_work=may_work)
        if done():
            return
        WAIT(0.005)
    raise TimeoutError


def test_each_ends_as_what_it_is(opened: Open, tmp_path: Path) -> None:
    fake = Fake(
        good=checked(),
        bad=InputFault("bad.zip is refused: it is no zip file."),
        gone=WorldFault("gone.zip cannot be read: No such file."),
    )
    opening = opened(fake)
    opening.ask(files(tmp_path, "good", "bad", "gone"))
    walk(opening)
    assert stages(opening) == [
        Stage.OPENED,
        Stage.REFUSED,
        Stage.FAILED,
    ]
    assert [b.words for b in opening.bundles] == ["1 run", "refused", "not looked into"]
    assert opening.bundles[1].why == "bad.zip is refused: it is no zip file."
    assert opening.progress == (3, 3)
    assert opening.bundles[2].words == "not looked into"


def test_what_is_no_file_of_ours_is_not_taken_up_and_says_why(
    opened: Open, tmp_path: Path
) -> None:
    opening = opened(Fake())
    text = tmp_path / "notes.txt"
    text.touch()
    assert opening.ask([text, tmp_path]) == []
    assert opening.told.startswith(
        "notes.txt is no bundle: the name of one ends in .zip."
    )
    assert "is a folder: open the files in it" in opening.told
    many = files(tmp_path, *(f"b{n}" for n in range(MOST_OPEN + 1)))
    assert len(opening.ask(many)) == MOST_OPEN
    assert f"b{MOST_OPEN}.zip was left out" in opening.told
    opening.give_up()


def test_one_that_is_there_already_is_shown_and_not_looked_into_again(
    opened: Open, tmp_path: Path
) -> None:
    fake = Fake(good=checked())
    opening = opened(fake)
    [path] = files(tmp_path, "good")
    first = opening.ask([path])
    walk(opening)
    assert opening.ask([path]) == first
    walk(opening)
    assert fake.asked == ["good.zip"]


def test_one_that_was_sent_once_more_is_looked_into_anew(
    opened: Open, tmp_path: Path
) -> None:
    fake = Fake(good=InputFault("good.zip is refused: it is cut short."))
    opening = opened(fake)
    [path] = files(tmp_path, "good")
    opening.ask([path])
    walk(opening)
    assert stages(opening) == [Stage.REFUSED]
    path.write_bytes(b"all of its bytes")
    fake.says["good.zip"] = checked()
    opening.ask([path])
    walk(opening)
    assert stages(opening) == [Stage.OPENED]
    assert len(opening.bundles) == 1


def test_while_a_spin_goes_on_none_is_begun(opened: Open, tmp_path: Path) -> None:
    fake = Fake(good=checked())
    opening = opened(fake)
    opening.ask(files(tmp_path, "good"))
    for _ in range(5):
        assert not opening.step(may_work=False)
    assert fake.asked == []
    assert opening.busy
    walk(opening)
    assert opening.bundles[0].stage is Stage.OPENED


def test_a_spin_ends_what_is_under_way_and_it_is_begun_again_after(
    opened: Open, tmp_path: Path
) -> None:
    fake = Fake(good=checked())
    fake.held = {"good.zip"}
    opening = opened(fake)
    opening.ask(files(tmp_path, "good"))
    until(opening, lambda: bool(fake.asked))
    assert stages(opening) == [Stage.LOOKING]
    assert opening.words.startswith("Looking into good.zip: some 3 s")
    until(opening, lambda: stages(opening) == [Stage.WAITING], may_work=False)
    fake.held.clear()
    walk(opening)
    assert stages(opening) == [Stage.OPENED]
    assert fake.asked == ["good.zip", "good.zip"]


def test_given_up_none_is_left_waiting_and_each_can_be_asked_for_again(
    opened: Open, tmp_path: Path
) -> None:
    fake = Fake(one=checked(), two=checked())
    fake.held = {"one.zip"}
    opening = opened(fake)
    paths = files(tmp_path, "one", "two")
    opening.ask(paths)
    until(opening, lambda: bool(fake.asked))
    opening.give_up()
    walk(opening)
    assert stages(opening) == [Stage.FAILED, Stage.FAILED]
    assert {b.why for b in opening.bundles} == {"You gave it up."}
    fake.held.clear()
    opening.ask(paths)
    walk(opening)
    assert stages(opening) == [Stage.OPENED, Stage.OPENED]


def test_only_the_runs_that_were_asked_for_go_among_the_persons(
    opened: Open, tmp_path: Path
) -> None:
    opening = opened(Fake(good=checked(run("one"), run("two"), run("told", raw=False))))
    opening.ask(files(tmp_path, "good"))
    walk(opening)
    bundle, runs = opening.bundles[0], tmp_path / "runs"
    assert not runs.exists()
    bundle.keep(bundle.take(["one"], runs))
    assert [path.name for path in runs.iterdir()] == ["one"]
    assert (runs / "one" / "wire.log").read_bytes() == LOG
    assert bundle.taken == {"one": runs / "one"}
    bundle.keep(bundle.take(["one", "told"], runs))
    assert bundle.left[0].startswith("one is in ")
    assert bundle.left[1].startswith("told has no wire log")


def test_one_that_is_put_away_leaves_nothing_lying_about(
    opened: Open, tmp_path: Path
) -> None:
    opening = opened(Fake(good=checked()))
    opening.ask(files(tmp_path, "good"))
    walk(opening)
    [bundle] = opening.bundles
    assert bundle.scratch is not None
    scratch = Path(bundle.scratch.name)
    assert scratch.exists()
    opening.put_away(bundle)
    assert not scratch.exists()
    assert opening.bundles == []
    with pytest.raises(InputFault, match="is not open any more"):
        bundle.take(["x"], tmp_path)


def test_closed_in_the_middle_it_waits_for_nobody(opened: Open, tmp_path: Path) -> None:
    fake = Fake(good=checked())
    fake.held = {"good.zip"}
    opening = opened(fake)
    opening.ask(files(tmp_path, "good"))
    until(opening, lambda: bool(fake.asked))
    scratch = opening._scratch
    assert scratch is not None
    opening.close()
    assert not Path(scratch.name).exists()


def test_a_bug_in_what_looks_is_not_taken_for_a_refusal(
    opened: Open, tmp_path: Path
) -> None:
    opening = opened(Fake(good=ZeroDivisionError("a bug")))
    opening.ask(files(tmp_path, "good"))
    with pytest.raises(ZeroDivisionError):
        walk(opening)
