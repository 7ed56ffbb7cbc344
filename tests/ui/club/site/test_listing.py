"""Every run is listed once, newest first, from the bundle that rests on most."""

from dataclasses import replace
from typing import Any

from tests.club.invented import invented
from ui.club.entry import EvidenceTold
from ui.club.site.listing import MOST_SIBLINGS, listed
from ui.club.site.shared import Shared


def changed(shared: Shared, bundle: str, **evidence: Any) -> Shared:
    """The same run, out of another bundle and with other evidence."""
    told: EvidenceTold = shared.entry.evidence.model_copy(update=evidence)
    entry = shared.entry.model_copy(update={"evidence": told})
    return replace(shared, bundle=bundle, entry=entry)


def test_newest_first_whatever_order_they_came_in() -> None:
    shared = invented(40)
    rows, repeated = listed(shared)
    assert not repeated
    days = [row.shared.entry.utc for row in rows]
    assert days == sorted(days, reverse=True)
    assert listed(shared[::-1])[0] == rows


def test_a_run_in_two_bundles_is_listed_once_and_told() -> None:
    (one,) = invented(1)
    again = changed(one, "z.zip")
    rows, repeated = listed([again, one])
    assert len(rows) == 1
    assert rows[0].shared.bundle == one.bundle
    assert [(r.bundle, r.listed_from, r.same) for r in repeated] == [
        ("z.zip", one.bundle, True)
    ]


def test_of_two_that_differ_the_one_with_the_record_is_listed() -> None:
    first = changed(invented(1)[0], "a.zip", record="tables only")
    second = changed(first, "b.zip", record="re-read")
    rows, repeated = listed([first, second])
    assert rows[0].shared.bundle == "b.zip"
    assert [r.same for r in repeated] == [True]  # but for the wire log
    for other in (
        changed(first, "c.zip", ended="tripped"),
        changed(second, "d.zip", record="damaged"),
    ):
        _, repeated = listed([second, other])
        assert [r.same for r in repeated] == [False]


def test_of_two_alike_the_signed_one_is_listed() -> None:
    first = replace(changed(invented(1)[0], "a.zip"), signed_by=None)
    unknown = replace(changed(first, "b.zip"), signed_by="")
    known = replace(changed(first, "c.zip"), signed_by="Ada")
    assert listed([first, unknown, known])[0][0].shared.bundle == "c.zip"


def test_an_address_stays_when_a_bundle_is_renamed() -> None:
    (one,) = invented(1)
    assert listed([one])[0][0].id == listed([changed(one, "other.zip")])[0][0].id


def test_siblings_are_the_other_runs_of_the_article() -> None:
    rows, _ = listed(invented(12, articles=3))
    for row in rows:
        key = row.shared.entry.article.key
        others = {
            other.id
            for other in rows
            if other.id != row.id and other.shared.entry.article.key == key
        }
        assert {one.id for one in row.siblings} == others
        assert row.more_siblings == 0


def test_no_more_siblings_are_named_than_a_page_bears() -> None:
    rows, _ = listed(invented(MOST_SIBLINGS + 5, articles=1))
    for row in rows:
        assert len(row.siblings) == MOST_SIBLINGS
        assert row.more_siblings == 4
        assert row.id not in {one.id for one in row.siblings}
