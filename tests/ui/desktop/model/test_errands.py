"""Work done by other processes: how far it is, what it said, and none during a spin."""

import json
import sys
import tempfile
import threading
from collections.abc import Callable
from pathlib import Path

import pytest

from ui.desktop.model.errands import Errand, Work

PATIENCE_S = 20.0
WAIT = threading.Event().wait


def python(code: str) -> list[str]:
    return [sys.executable, "-c", code]


def until(done: Callable[[], bool]) -> None:
    for _ in range(int(PATIENCE_S / 0.01)):
        if done():
            return
        WAIT(0.01)
    raise TimeoutError


def waits(work: Work) -> tuple[bool, bool]:
    """Whether it is busy, and whether it only waits."""
    return work.busy, work.waits


def walked(errand: Errand) -> Errand:
    def over() -> bool:
        errand.step()
        return errand.over

    until(over)
    return errand


ECHO = (
    "import sys, json; print(json.dumps({'answer': json.loads(sys.stdin.readline())}))"
)
HANGS = "import time; time.sleep(600)"


def test_what_it_is_asked_comes_to_it_and_its_answer_comes_back() -> None:
    errand = walked(Errand({"do": "pack", "by": "Zaunkönig"}, python(ECHO)))
    assert errand.answer == {"do": "pack", "by": "Zaunkönig"}
    assert errand.fault == ""


def test_it_tells_how_far_it_is_before_its_end() -> None:
    code = "print('{\"progress\": [2, 7]}', flush=True); import time; time.sleep(600)"
    errand = Errand({}, python(code))

    def told() -> bool:
        errand.step()
        return errand.progress is not None

    until(told)
    assert errand.progress == (2, 7)
    assert not errand.over
    errand.end()


def test_why_it_was_refused_is_its_own_sentence() -> None:
    code = 'print(\'{"refused": "the run is not sealed."}\'); raise SystemExit(1)'
    errand = walked(Errand({}, python(code)))
    assert errand.answer is None
    assert errand.fault == "the run is not sealed."


def test_one_that_dies_leaves_its_last_line() -> None:
    errand = walked(Errand({}, python("raise ValueError('a bug')")))
    assert errand.fault == "It ended without an answer. ValueError: a bug"


def test_one_that_cannot_be_begun_says_so(tmp_path: Path) -> None:
    errand = Errand({}, [str(tmp_path / "not there")])
    assert errand.over
    assert errand.fault == "It could not be begun: No such file or directory."


def test_lines_that_are_no_words_of_ours_are_passed_over() -> None:
    code = "print('noise'); print('[1]'); print('{\"answer\": {}}'); print('{')"
    assert walked(Errand({}, python(code))).answer == {}


def test_what_it_leaves_lying_about_goes_with_it() -> None:
    code = (
        "import tempfile, json; name = tempfile.mkdtemp(); "
        "print(json.dumps({'answer': {'left': name}}))"
    )
    errand = walked(Errand({}, python(code)))
    assert errand.answer is not None
    left = Path(str(errand.answer["left"]))
    assert left.is_relative_to(tempfile.gettempdir())
    assert not left.exists()


def test_work_is_begun_ended_for_a_spin_and_begun_again(tmp_path: Path) -> None:
    marks = tmp_path / "begun"
    code = (
        "import sys, json, time; at = json.loads(sys.stdin.readline())['at'];"
        "open(at, 'a').write('x'); n = len(open(at).read());"
        "n < 2 and time.sleep(600); print(json.dumps({'answer': {'begun': n}}))"
    )
    work = Work(python(code))
    work.ask({"at": str(marks)})
    assert not work.step(may_work=False)
    assert waits(work) == (True, True)
    assert not marks.exists()

    def begun() -> bool:
        work.step(may_work=True)
        return marks.exists() and marks.read_text() == "x"

    until(begun)
    assert waits(work) == (True, False)
    work.step(may_work=False)  # a spin began
    assert waits(work) == (True, True)
    until(lambda: work.step(may_work=True))
    assert work.answer == {"begun": 2}
    assert waits(work) == (False, False)


def test_work_that_is_given_up_is_gone_and_can_be_asked_for_again() -> None:
    work = Work(python(HANGS))
    work.ask({})
    work.step(may_work=True)
    errand = work._errand
    assert errand is not None
    process = errand._process
    assert process is not None
    work.give_up()
    assert process.poll() is not None
    assert waits(work) == (False, False)
    work.ask({})
    assert waits(work) == (True, True)
    work.give_up()


def test_asked_while_it_is_busy_it_goes_on_with_what_it_has() -> None:
    work = Work(python(ECHO))
    work.ask({"which": "first"})
    work.ask({"which": "second"})
    until(lambda: work.step(may_work=True))
    assert work.answer == {"which": "first"}
    assert json.dumps(work.answer)


def test_without_room_for_it_that_is_what_it_says(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path / "not there"))
    errand = Errand({}, python(ECHO))
    assert errand.over
    assert errand.fault == "It could not be begun: No such file or directory."
