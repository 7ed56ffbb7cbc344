"""What a run's figures rest on, as facts and in one line of words.

So that a curve from a kitchen calibration and one from weights of a class are never
shown as equals. Read off the record and its calibrations; nothing here judges a person.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, Literal, get_args

from ui.club.entry import EvidenceTold, ScaleTold

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from daq.calibration.use import Use
    from daq.records.read import Run
    from ui.results import Results

Channel = Literal["thrust", "current", "voltage"]
By = Literal["masses", "coins", "own masses", "meter", "resistor", "nominal"]
Proof = Literal["real pulses", "zero throttle", "none"]
RecordState = Literal["re-read", "tables only", "damaged", "changed"]

#: What thrust was held against in a few words, best first: a scale that was held
#: against nothing is nominal, and so is one of which nothing is said.
THRUST_BY: Final[Mapping[str, str]] = {
    "masses": "thrust by weights of a class",
    "coins": "thrust by coins",
    "own masses": "thrust by things weighed at home",
    "nominal": "thrust not calibrated",
}
CHANNELS: Final[tuple[Channel, ...]] = get_args(Channel)
_CLASS: Final = "class "
_PROVEN: Final[Mapping[str, Proof]] = {"a": "real pulses", "b": "zero throttle"}
_PROOF_WORDS: Final[Mapping[Proof, str]] = {
    "real pulses": "guards seen to cut a real pulse",
    "zero throttle": "guards seen to act at zero throttle",
    "none": "no guard seen to act",
}
_RECORD_WORDS: Final[Mapping[RecordState, str]] = {
    "re-read": "wire log there and re-read",
    "tables only": "no wire log: figures as the sender gives them",
    "damaged": "wire log there, some of it lost",
    "changed": "wire log changed after it was sealed",
}
_KINDS: Final[Mapping[By, str]] = {
    "masses": "weights",
    "coins": "coins",
    "own masses": "masses of its owner's word",
    "meter": "a meter",
    "resistor": "a meter across a known resistor",
    "nominal": "the stand's own constants, nominal",
}


def evidence_of(results: Results) -> EvidenceTold:
    """What a run's figures rest on."""
    run = results.run
    uses = results.uses()
    scales = tuple(
        _scale(channel, uses.get(channel))
        for channel in CHANNELS
        if run.stand is not None and run.stand.channel(channel) is not None
    )
    proof, running = _proof(run)
    article = results.article
    record: RecordState = "re-read" if run.whole else "damaged"
    if run.intact is False:
        record = "changed"
    told = EvidenceTold(
        simulated=run.simulated,
        elsewhere=run.adopted is not None,
        stand=stand_words(run),
        guards_itself=run.described is None and run.stand is not None,
        scales=scales,
        proof=proof,
        proof_words=_proof_words(proof, running=running),
        ended=str(results.outcome.get("ended", "interrupted"))[:120],
        data=str(results.outcome.get("data", "not known"))[:120],
        air_noted=article is not None and article.air is not None,
        record=record,
        words="",
    )
    return with_words(told)


def thrust_by(told: EvidenceTold) -> str:
    """A key of ``THRUST_BY``; a channel is never held against another's means."""
    by = next((one.by for one in told.scales if one.channel == "thrust"), "nominal")
    return by if by in THRUST_BY else "nominal"


def with_words(told: EvidenceTold) -> EvidenceTold:
    """The same with its line of words made anew, whatever a sender wrote there."""
    return told.model_copy(update={"words": "; ".join(_words(told))})


def as_tables_only(told: EvidenceTold) -> EvidenceTold:
    """The same for whoever gets no wire log, and can re-derive nothing.

    What the sender says is kept within its part of the line of words: it can say
    nothing about the other parts.
    """
    proofs = [_proof_words(told.proof, running=running) for running in (False, True)]
    known = told.proof_words in proofs
    scales = [
        one.model_copy(update={"words": one.words.replace(";", ",")})
        for one in told.scales
    ]
    own = {
        "record": "tables only",
        "proof_words": told.proof_words if known else proofs[0],
        "scales": tuple(scales),
        "ended": told.ended.replace(";", ","),
    }
    return with_words(told.model_copy(update=own))


def stand_words(run: Run) -> str:
    """Who the stand said it was."""
    if run.described is not None:
        return f"prints lines: {run.described.name}"[:120]
    if run.stand is None:
        return "never said who it was"
    return f"{run.stand.identity.stand_id:08x}"


def _words(told: EvidenceTold) -> Iterator[str]:
    if told.invented:
        yield "INVENTED, to try something out: nothing was measured or simulated"
    elif told.simulated:
        yield "simulated: nothing turned, nothing was measured"
    if told.elsewhere:
        yield "recorded elsewhere"
    for scale in told.scales:
        since = f" on {scale.made_utc[:10]}" if scale.made_utc else ""
        yield f"{scale.channel} by {scale.words}{since}"
    yield told.proof_words
    yield "air noted" if told.air_noted else "air not noted"
    if told.ended != "completed":
        yield f"ended: {told.ended}"
    yield _RECORD_WORDS[told.record]


def _proof_words(proof: Proof, *, running: bool) -> str:
    seen = _PROOF_WORDS[proof]
    # Of a stand without guards the stop alone can be seen.
    joined = "only" if proof == "none" else "and"
    return f"{seen}, {joined} the stop with the motor running" if running else seen


def _proof(run: Run) -> tuple[Proof, bool]:
    """The best proof of the guards that was finished, and whether one was running."""
    parts = {str(decision.note.get("part")) for decision in run.notes("proven")}
    best: Proof = next((_PROVEN[p] for p in ("a", "b") if p in parts), "none")
    return best, "c" in parts


# ------------------------------------------------------------------ scales


def _scale(channel: Channel, use: Use | None) -> ScaleTold:
    if use is None:
        return ScaleTold(channel=channel, by="nominal", words=_KINDS["nominal"])
    made = use.calibration
    by, words = _held_against(channel, made.standards, made.facts)
    return ScaleTold(
        channel=channel,
        by=by,
        words=words[:1200],
        made_utc=made.made_utc[:10],
        u_rel=made.u_rel,
    )


def _held_against(
    channel: Channel,
    standards: tuple[Mapping[str, object], ...],
    facts: Mapping[str, object],
) -> tuple[By, str]:
    """What a channel was held against; the least of its kinds names it."""
    if channel != "thrust":
        by: By = "resistor" if facts.get("load_ohm") else "meter"
        good = f"{facts.get('meter_percent')} %" if "meter_percent" in facts else ""
        return by, f"{_KINDS[by]} ({good})" if good else _KINDS[by]
    sources = [str(one.get("source", "")) for one in standards]
    classes = sorted({s[len(_CLASS) :].split(",")[0] for s in sources if _of_class(s)})
    others = [s for s in sources if not _of_class(s)]
    if not others and classes:
        return "masses", f"{_KINDS['masses']} of class {' and '.join(classes)}"
    by = "coins" if others and all("a coin" in s for s in others) else "own masses"
    words = _KINDS[by]
    weighed = sorted({s for s in others if s.startswith("weighed on")})
    if weighed:
        words = f"masses {' and '.join(weighed)}"
    return by, f"{words}, some of class {', '.join(classes)}" if classes else words


def _of_class(source: str) -> bool:
    return source.startswith(_CLASS) and "OIML" in source
