"""What is said of a run, so that no evidence passes for another."""

from typing import Any

import pytest

from tests.club.invented import interval, invented
from ui.club.entry import EvidenceTold, FullTold, RatingTold, ScaleTold
from ui.club.evidence import thrust_by
from ui.club.site import words
from ui.club.site.drawn import LOOKS, drawn, ticks


def evidence(**changed: Any) -> EvidenceTold:
    """A run's evidence, with some of it changed."""
    return invented(1)[0].entry.evidence.model_copy(update=changed)


def by(kind: Any, channel: Any = "thrust", u_rel: float | None = 0.004) -> EvidenceTold:
    """Evidence whose one scale rests on something."""
    scale = ScaleTold(channel=channel, by=kind, words="as it was told", u_rel=u_rel)
    return evidence(scales=(scale,), simulated=False, invented=False)


def test_the_better_the_evidence_the_earlier_it_is_sorted() -> None:
    ranks = [
        words.evidence_rank(one)
        for one in (
            by("masses"),
            by("coins"),
            by("own masses"),
            by("nominal"),
            by("masses").model_copy(update={"simulated": True}),
            by("masses").model_copy(update={"simulated": True, "invented": True}),
        )
    ]
    assert ranks == sorted(ranks)
    assert len(set(ranks)) == len(ranks)


def test_a_record_that_was_re_read_comes_before_tables() -> None:
    re_read, tables = (
        by("masses").model_copy(update={"record": record})
        for record in ("re-read", "tables only")
    )
    assert words.evidence_rank(re_read) < words.evidence_rank(tables)


@pytest.mark.parametrize("kind", ["meter", "resistor", "nominal"])
def test_what_no_mass_was_held_against_is_not_calibrated(kind: str) -> None:
    assert words.rests_on(by(kind, u_rel=None)) == "thrust not calibrated"


def test_another_channels_scale_is_not_the_thrusts() -> None:
    assert thrust_by(by("masses", channel="current")) == "nominal"


def test_how_well_the_scale_is_known_is_told() -> None:
    told = "thrust by weights of a class, scale known to 0.40 %"
    assert words.rests_on(by("masses")) == told


def full_of(*verdicts: Any, of_aircraft: bool = False) -> FullTold:
    """Full throttle with parts so judged."""
    ratings = tuple(
        RatingTold(
            part=f"part {place}",
            limit_a=10,
            current_a=interval(10, 0.01),
            verdict=verdict,
            of_aircraft=of_aircraft,
        )
        for place, verdict in enumerate(verdicts)
    )
    return FullTold(throttle_frac=1, thrust_n=interval(1, 0.01), ratings=ratings)


@pytest.mark.parametrize(
    ("verdicts", "told"),
    [
        (("within", "within"), "Within ratings: part 0, part 1"),
        (("within", "cannot tell"), "Cannot tell: part 1"),
        (("beyond", "cannot tell", "beyond"), "Beyond its rating: part 0, part 2"),
        ((), "No ratings stated"),
    ],
)
def test_the_worst_rating_is_told(verdicts: tuple[Any, ...], told: str) -> None:
    assert words.ratings_of(full_of(*verdicts))[1] == told


def test_a_rating_in_the_air_is_told_as_such() -> None:
    told = words.ratings_of(full_of("beyond", of_aircraft=True))[1]
    assert told == "Beyond its rating: part 0 in its aircraft"
    assert words.ratings_of(None)[1] == "No ratings stated"


@pytest.mark.parametrize(
    ("diameter_mm", "size_in"),
    [(76.2, 3.0), (70.0, 3.0), (69.0, 2.5), (65.0, 2.5), (31.0, 1.0), (40.0, 1.5)],
)
def test_the_size_class_goes_by_the_measured_diameter(
    diameter_mm: float, size_in: float
) -> None:
    assert words.size_class_in(diameter_mm) == size_in


@pytest.mark.parametrize("name", ["", "  ", "\t", "\u202e", "\u200b \u2066"])
def test_a_name_that_cannot_be_seen_is_given_one(name: str) -> None:
    assert words.named(name) == "unnamed"
    assert words.named(f"{name}a") == f"{name}a"


def test_a_text_too_long_for_a_row_is_cut_where_it_is_seen() -> None:
    assert words.clipped("x" * 50, 10) == "x" * 9 + "\N{HORIZONTAL ELLIPSIS}"
    assert words.clipped("short", 10) == "short"


@pytest.mark.parametrize(
    ("low", "high"), [(0, 7.3), (4.9, 5.1), (0, 1e-6), (12, 99), (3, 3), (0, 1e5)]
)
def test_ticks_are_few_round_and_hold_the_range(low: float, high: float) -> None:
    found = ticks(low, high)
    assert 2 <= len(found) <= 9
    assert found[0] <= low <= high <= found[-1] * (1 + 1e-9)


def test_a_drawing_says_that_it_is_not_measured() -> None:
    curve = invented(1)[0].entry.curves.specific_thrust
    assert curve is not None
    assert ">simulated</text>" in drawn(curve, LOOKS[0], "simulated")
    assert "nature" not in drawn(curve, LOOKS[0], "measured")
