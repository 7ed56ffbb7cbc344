"""Writes that fail one by one while a run is kept: the motor stops, the run is valid.

A part of ``python -m tests.campaign.writes``, which fails every single one.
"""

import errno
import os
from pathlib import Path

import pytest

from daq.records.read import read_run
from daq.records.wirelog import NAME, Reader
from tests.campaign.writes import Case, Verdict, baseline, cases, judge
from tests.disks import Disk
from tests.kept import keep_on, stands_still


@pytest.mark.slow
def test_every_kind_of_operation_failed_once_and_from_then_on() -> None:
    verdicts = [judge(case) for case in cases(every=110, first=7)]
    assert [v for v in verdicts if v.broken] == []
    named = {verdict.what for verdict in verdicts}
    assert named >= {
        "mkdir run",
        "create wire.log",
        "write wire.log",
        "sync",
        "write datapackage.json.new",
        "replace datapackage.json.new",
        "read wire.log",
    }
    # What the list is for: failures while the motor turns, and in every error.
    assert max(v.to_zero_s for v in verdicts) > 0
    assert {v.case.number for v in verdicts} == {
        errno.ENOSPC,
        errno.EIO,
        errno.EACCES,
    }


def test_when_nothing_fails_the_run_completes() -> None:
    done, records = baseline()
    assert len(done) > len(records) > 900
    assert records[-1].json()["ended"] == "completed"


def test_the_person_is_told_which_error_it_was(tmp_path: Path) -> None:
    done, _ = baseline()
    while_driven = done.index(("write", NAME)) + 850
    kept = keep_on(Disk(tmp_path, while_driven, errno.EIO))
    assert kept.spin is not None
    assert stands_still(kept.spin)
    outcome = kept.spin.control.outcome
    assert outcome is not None
    assert outcome.cause == f"The record could not be written: {os.strerror(5)}."
    assert kept.told["sealed"] is False
    run = read_run(kept.folder)
    assert not run.whole
    assert run.damage.cut_short
    assert len(list(Reader.open(kept.folder / NAME).records())) > 800


def test_a_verdict_can_be_bad() -> None:
    """The judge itself: a failure that is said to come later than it does."""
    good = judge(Case(500, errno.EIO, for_good=False))
    assert good == Verdict(good.case, "write wire.log", "failed")
    _, records = baseline()
    records.insert(3, records[3])
    try:
        assert judge(good.case).broken
    finally:
        del records[3]
