"""Many answers to a table: shares that hold, widths, scatter, verdicts.

Arithmetic only; where the answers come from is the campaign's business.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.special import bdtrik, ndtri

from tests.campaign.asked import Answer

COVERAGE: Final = 0.95
#: Half a 95 % interval over a standard uncertainty, where much is known.
FACTOR: Final = float(ndtri(0.5 + COVERAGE / 2.0))


@dataclass(frozen=True, slots=True)
class Row:
    """One quantity over many worlds.

    Attributes:
        quantity: which.
        worlds: how many had a claim.
        share: of the intervals that hold the truth.
        low: of the share, where it lies in 95 of 100 tables if each interval holds
            with 95 %.
        high: likewise.
        half_rel: median of the half-widths, as shares of the truth.
        widths: claimed standard uncertainty over the rms error, both over all worlds.
        bias: median error, as a share of the truth.
        above: share of the intervals that lie wholly above the truth.
    """

    quantity: str
    worlds: int
    share: float
    low: float
    high: float
    half_rel: float
    widths: float
    bias: float
    above: float

    @property
    def short(self) -> bool:
        """Whether fewer hold than chance allows."""
        return self.share < self.low


def fewest(worlds: int, chance: float, coverage: float = COVERAGE) -> int:
    """Fewest of so many that hold, but for that chance of fewer."""
    return math.floor(float(bdtrik(chance, worlds, coverage)))


def most(worlds: int, chance: float, coverage: float = COVERAGE) -> int:
    """Most of so many that hold, but for that chance of more."""
    return math.ceil(float(bdtrik(1.0 - chance, worlds, coverage)))


def row_of(quantity: str, answers: Sequence[Answer]) -> Row:
    """Count one quantity; an answer without a finite interval is a miss.

    Args:
        quantity: which.
        answers: one a world, one at least.
    """
    count = len(answers)
    truth = np.array([answer.truth for answer in answers])
    value = np.array([answer.value for answer in answers])
    half = np.array([(answer.high - answer.low) / 2.0 for answer in answers])
    scale = 1.0 if quantity.startswith("difference") else np.abs(truth)
    error, width = (value - truth) / scale, half / scale
    known = np.isfinite(error) & np.isfinite(width)
    rms = math.sqrt(float(np.mean(error[known] ** 2))) if known.any() else math.nan
    claimed = math.sqrt(float(np.mean(width[known] ** 2))) if known.any() else math.nan
    holds = sum(answer.holds for answer in answers)
    return Row(
        quantity=quantity,
        worlds=count,
        share=holds / count,
        low=fewest(count, 0.025) / count,
        high=most(count, 0.025) / count,
        half_rel=float(np.median(width[known])) if known.any() else math.nan,
        widths=claimed / FACTOR / rms if rms else math.nan,
        bias=float(np.median(error[known])) if known.any() else math.nan,
        above=sum(answer.low > answer.truth for answer in answers) / count,
    )


def rows_of(answers: Iterable[Answer], order: Sequence[str]) -> list[Row]:
    """One row a quantity that was asked for, in an order."""
    by_name: dict[str, list[Answer]] = {name: [] for name in order}
    for answer in answers:
        by_name.setdefault(answer.quantity, []).append(answer)
    return [row_of(name, found) for name, found in by_name.items() if found]


def table(rows: Sequence[Row]) -> str:
    """The rows as a person reads them."""
    head = (
        f"{'quantity':<56}{'worlds':>7}{'hold':>8}{'expected':>14}"
        f"{'half-width':>12}{'u/rms':>7}{'bias':>8}"
    )
    return "\n".join([head, *(_line(row) for row in rows)])


def _line(row: Row) -> str:
    span = f"{100 * row.low:.1f}-{100 * row.high:.1f}"
    mark = " SHORT" if row.short else " over" if row.share > row.high else ""
    return (
        f"{row.quantity:<56}{row.worlds:7}{100 * row.share:7.1f}%{span:>13}%"
        f"{100 * row.half_rel:11.2f}%{row.widths:7.2f}{100 * row.bias:7.2f}%{mark}"
    )


# ------------------------------------------------------------------ verdicts


@dataclass(frozen=True, slots=True)
class Told:
    """What a comparison told, and what is so.

    Attributes:
        verdict: more, less, cannot tell or no verdict.
        truth: logarithm of the true ratio, its mean over the range.
        half: half of the interval of that mean.
        contradicted: whether the band lies on the wrong side of the truth anywhere.
    """

    verdict: str
    truth: float
    half: float
    contradicted: bool

    @property
    def clear(self) -> bool:
        """Whether something was told at all."""
        return self.verdict in ("more", "less")

    @property
    def wrong(self) -> bool:
        """Whether what was told is not so."""
        said = {"more": 1.0, "less": -1.0}.get(self.verdict, 0.0)
        return self.clear and (said * self.truth <= 0.0 or self.contradicted)

    @property
    def large(self) -> bool:
        """Whether the difference is of twice the interval, and so should be found."""
        return abs(self.truth) >= 2.0 * self.half


WRONG_AT_MOST: Final = 0.05
FOUND_AT_LEAST: Final = 0.8


def rates(told: Sequence[Told]) -> tuple[float, float]:
    """Share of all pairs told wrongly, and of large differences that were found.

    Where no difference is large none was missed.
    """
    wrong = sum(one.wrong for one in told) / max(1, len(told))
    large = [one for one in told if one.large]
    found = sum(one.clear and not one.wrong for one in large)
    return wrong, found / len(large) if large else 1.0


def verdicts_hold(told: Sequence[Told]) -> bool:
    """Whether few enough are wrong, and enough of what is large is found."""
    wrong, found = rates(told)
    return wrong <= WRONG_AT_MOST and found >= FOUND_AT_LEAST


def verdict_line(name: str, told: Sequence[Told]) -> str:
    """What became of the verdicts on one kind of pair."""
    wrong, found = rates(told)
    large = sum(one.large for one in told)
    clear = sum(one.clear for one in told)
    share = f"{100 * found:.0f} %" if large else "-"
    return f"{name:<50}{len(told):7}{clear:7}{100 * wrong:8.1f} %{large:7}{share:>8}"


VERDICT_HEAD: Final = (
    f"{'verdicts':<50}{'pairs':>7}{'clear':>7}{'wrong':>10}{'large':>7}{'found':>8}"
)
