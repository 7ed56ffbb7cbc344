"""What a run's figures rest on, in parts and in order: what rests on more comes first.

So that a curve from a kitchen calibration and one from weights of a class are never
shown as equals. Words and a count say it; judges no person.
"""

from dataclasses import dataclass
from typing import Final

from daq.analysis.rounding import figure
from ui.club.entry import EvidenceTold, ScaleTold
from ui.club.evidence import THRUST_BY, thrust_by
from ui.club.plainly import plainly
from ui.report.words import sentence

#: Rungs: one for each way to hold thrust against something.
MOST: Final = len(THRUST_BY)
WORD_ONLY: Final = "The sender's word only: no wire log"
CHANGED: Final = "Its record was changed or damaged"
CHANNELS: Final = ("thrust", "current", "voltage")


@dataclass(frozen=True, slots=True)
class Standing:
    """What a run's figures rest on.

    Attributes:
        rank: for sorting: the smaller, the more they rest on.
        rungs: of ``MOST``; none where nothing could be derived again.
        words: the least that has to be known, in a few words.
        nature: that nothing was measured, where that is so; "" otherwise.
        parts: what, and what it rests on.
    """

    rank: int
    rungs: int
    words: str
    nature: str
    parts: tuple[tuple[str, str], ...]

    @property
    def spoken(self) -> str:
        """The rungs for whoever cannot see them."""
        return f"rests on {self.rungs} of {MOST}"


def standing_of(told: EvidenceTold) -> Standing:
    """What a run's figures rest on."""
    by = thrust_by(told)
    rungs = MOST - list(THRUST_BY).index(by)
    words = sentence(THRUST_BY[by])
    if told.record == "tables only":
        rungs, words = 0, WORD_ONLY
    elif told.record != "re-read":
        rungs, words = min(rungs, 1), CHANGED
    nature, unreal = _nature(told)
    return Standing(
        rank=10 * unreal + MOST - rungs,
        rungs=rungs,
        words=words,
        nature=nature,
        parts=tuple(_parts(told)),
    )


def _nature(told: EvidenceTold) -> tuple[str, int]:
    if told.invented:
        return "Invented to try something out: nothing was measured or simulated.", 2
    if told.simulated:
        return "Simulated: nothing turned, nothing was measured.", 1
    return "", 0


def _parts(told: EvidenceTold) -> list[tuple[str, str]]:
    scales = {scale.channel: scale for scale in told.scales}
    parts = [
        (name, _scale(scales[name]) if name in scales else "not read by this stand")
        for name in CHANNELS
    ]
    guards = plainly(told.proof_words)
    if not told.guards_itself:
        guards += "; the stand does not stop its motor by itself"
    parts.append(("guards", guards))
    parts.append(("air", "noted" if told.air_noted else "not noted"))
    if told.elsewhere:
        parts.append(("recorded", "elsewhere: neither driven nor guarded by gramwatt"))
    if told.ended != "completed":
        parts.append(("ended", plainly(told.ended)))
    parts.append(("record", _RECORD[told.record]))
    return parts


_RECORD: Final = {
    "re-read": "wire log there, and read again here",
    "tables only": "no wire log: figures as the sender gives them",
    "damaged": "wire log there, some of it lost",
    "changed": "wire log changed after it was sealed",
}


def _scale(scale: ScaleTold) -> str:
    words = [plainly(scale.words)]
    if scale.made_utc:
        words.append(f"on {scale.made_utc[:10]}")
    if scale.u_rel is not None and scale.by != "nominal":
        percent = 100 * scale.u_rel
        words.append(f"(standard uncertainty {figure(percent, percent)} %)")
    return " ".join(words)
