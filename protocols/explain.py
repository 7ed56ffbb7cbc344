"""What happened, in sentences: outcomes made of what the stand said.

Pure words: what the stand's causes, refusals and silences mean to a person and
what to look at first. Decides nothing.
"""

from dataclasses import replace
from typing import Final

from daq.link import messages as m
from daq.link import session as s
from protocols.limits import Limit, allowed, brief, to_trade
from protocols.outcome import Data, Ended, Outcome
from protocols.proof.trial import NotProven


def ended(how: Ended, cause: str, check: str, advice: str = "") -> Outcome:
    """An outcome whose data and confirmation are not known yet."""
    return Outcome(how, cause, check, advice, Data.NONE, stop_confirmed=False)


COMPLETED: Final = ended(Ended.COMPLETED, "The plan was walked to its end.", "")

_CAUSES: Final[dict[m.Cause, tuple[str, str, str]]] = {
    m.Cause.LEASE_ENDED: (
        "lease",
        "The lease ended: the stand heard no throttle in time.",
        "This program was held up, or the cable is bad.",
    ),
    m.Cause.LIMIT: ("limit", "The stand cut at a limit.", ""),
    m.Cause.CHANNEL_SILENT: (
        "silence",
        "The stand cut because a sensor fell silent.",
        "Look at that sensor's wiring.",
    ),
    m.Cause.STOP: ("stop", "The stand was stopped.", ""),
    m.Cause.STOP_LOOP_OPEN: (
        "stop loop",
        "The stop loop opened.",
        "Close the guard and release the stop button.",
    ),
    m.Cause.SUPPLY_ON: (
        "supply on",
        "The supply came on while the guards were being proven.",
        "Leave the arming plug out until it is asked for.",
    ),
}


# What has to be so before a trip of the stand's own is acknowledged.
_CLEARS: Final[dict[str, str]] = {
    "lease": "the stand hears this program again",
    "limit": "the reading lies inside its limit again",
    "silence": "the sensor is heard again",
    "stop loop": "the stop loop is closed",
    "supply on": "the arming plug is out",
    "restarted": "the stand runs steadily and says who it is",
}


def clears(check: str) -> str:
    """What has to be so before such a trip is acknowledged, a clause; "" if unknown."""
    return _CLEARS.get(check, "")


def cause_in_words(cause: m.Cause) -> str:
    """What made the stand trip, a sentence."""
    if cause in _CAUSES:
        return _CAUSES[cause][1]
    return f"The stand says {cause.name.lower().replace('_', ' ')}."


def stand_tripped(
    event: m.Event, about: Limit | None, value: float, advice: str
) -> Outcome:
    """The stand's own trip.

    Args:
        event: what it said.
        about: the limit it was about, where there is one.
        value: the reading that violated it, SI, zero included.
        advice: what that limit's violation usually means.
    """
    check, _, usual = _CAUSES.get(event.cause, (event.cause.name.lower(), "", ""))
    cause = cause_in_words(event.cause)
    if about is not None and event.cause is m.Cause.CHANNEL_SILENT:
        cause = (
            f"The stand cut because {about.channel} fell silent: nothing for "
            f"{about.max_age_s * 1e3:.0f} ms."
        )
    elif about is not None:
        shown, unit = to_trade(about.channel, value)
        cause = (
            f"{cause[:-1]}: {about.channel} at {brief(shown)} {unit}, allowed "
            f"{allowed(about)} ({about.source})."
        )
    throttle_percent = event.throttle / 100
    cause = f"{cause} Throttle was {throttle_percent:g} %."
    return ended(Ended.TRIPPED, cause, check, advice or usual)


_REFUSALS: Final[dict[m.Verdict, str]] = {
    m.Verdict.STOP_LOOP_OPEN: "Close the guard and release the stop button.",
    m.Verdict.LIMIT_EXCEEDED: "A reading is outside its limit with the motor at rest.",
    m.Verdict.CHANNEL_SILENT: "A sensor gives no readings: look at its wiring.",
    m.Verdict.WRONG_STATE: "The stand is latched or busy: acknowledge it first.",
}


def refused(what: str, verdict: m.Verdict) -> Outcome:
    """A command that the stand did not carry out."""
    words = verdict.name.lower().replace("_", " ")
    cause = f"The stand refused {what}: {words}."
    advice = _REFUSALS.get(verdict, "")
    return ended(Ended.FAILED, cause, f"refused: {words}", advice)


def restarted(while_doing: str, *, guarded: bool) -> Outcome:
    """The stand is in another boot than it was."""
    return ended(
        Ended.TRIPPED if guarded else Ended.FAILED,
        f"The stand restarted while {while_doing}.",
        "restarted",
        "Look at its supply: a brown-out, a loose plug, or a watchdog.",
    )


def unanswered(command: str) -> Outcome:
    """A command that is not said twice got no answer."""
    cause = f"The stand did not answer the {command} command."
    return ended(Ended.FAILED, cause, "unanswered", "Look at the cable.")


def fell_silent(after_s: float) -> Outcome:
    """A stand that was waited for says nothing any more."""
    cause = f"The stand has said nothing for {after_s:g} s."
    advice = "Look at its power and the cable; reset it, and begin again."
    return ended(Ended.FAILED, cause, "silence", advice)


def record_lost(why: object) -> Outcome:
    """Without a record there is no run."""
    cause = f"The record could not be written: {why}."
    advice = "Free the disk, or choose another place with --out."
    return ended(Ended.FAILED, cause, "record", advice)


def nobody_there(patience_s: float) -> Outcome:
    """A person was waited for, for as long as a stand is left ready."""
    cause = f"Nobody said or did anything for {patience_s / 60:.0f} minutes."
    return ended(Ended.STOPPED, cause, "nobody there")


def armed_again(pending: Outcome | None) -> Outcome:
    """A stand that had stopped may turn again, unasked; on top of why it stopped."""
    cause = "The stand was armed again after its stop was confirmed."
    advice = "CUT THE POWER; do not trust this stand."
    if pending is None or pending.ended in (Ended.COMPLETED, Ended.STOPPED):
        return ended(Ended.FAILED, cause, "armed again", advice)
    return replace(pending, cause=f"{pending.cause} {cause}", advice=advice)


def armed_by_another() -> Outcome:
    """A stand that may turn without our having asked."""
    return ended(
        Ended.FAILED,
        "The stand was armed by something else; it was told to stop.",
        "armed by another",
        "Close other programs that use this port and start again.",
    )


def runs_on(
    outcome: Outcome, current_a: object = None, speed_rad_s: object = None
) -> Outcome:
    """The stand said that it stopped, and the motor did not."""
    seen = [
        f"{brief(shown)} {unit}"
        for channel, value in (("current", current_a), ("speed", speed_rad_s))
        if isinstance(value, float)
        for shown, unit in (to_trade(channel, value),)
    ]
    figures = f": {', '.join(seen)}" if seen else ""
    cause = (
        f"{outcome.cause} THE MOTOR RUNS ON though the stand's pulse is at zero"
        f"{figures}."
    )
    advice = (
        "PULL THE ARMING PLUG before you go near. The ESC ignores the zero pulse or "
        "has failed: do not use it again."
    )
    return replace(outcome, cause=cause, advice=advice)


def turns_unasked(speed_rad_s: float) -> Outcome:
    """The motor turns though nothing was ever armed; no stop would reach it."""
    shown, unit = to_trade("speed", speed_rad_s)
    cause = (
        f"THE MOTOR RUNS ON though the pulse is at zero and nothing was armed: "
        f"{brief(shown)} {unit}."
    )
    advice = "PULL THE ARMING PLUG before you go near. The ESC does not heed zero."
    return ended(Ended.FAILED, cause, "follows", advice)


def not_proven(failure: NotProven) -> Outcome:
    """A guard was not seen to act, so nothing is spun."""
    check = f"proof: {failure.guard}"
    return ended(Ended.FAILED, str(failure), check, failure.advice)


def not_a_stand(happening: s.WrongVersion | s.NotIdentified, name: str) -> Outcome:
    """Nothing useful answered on the port called ``name``."""
    advice = "Look at the stand's power, its cable and the port's name."
    patience = f"{s.WHO_PATIENCE_S:.0f} s"
    if isinstance(happening, s.WrongVersion):
        cause = (
            f"The stand on {name} speaks link version {happening.theirs}; this "
            f"gramwatt speaks version {m.LINK_VERSION}."
        )
        advice = "Update the stand's firmware or this program."
    elif happening.why:
        cause = f"No line on {name} could be used. {happening.why}"
        advice = "Does the description fit? 'gramwatt describe' proposes one."
    elif not happening.heard_bytes:
        cause = f"Nothing answered on {name} within {patience}."
    elif happening.pages_missing:
        cause = f"The stand on {name} answered, but never completely."
    else:
        cause = (
            f"Something talks on {name} ({happening.heard_bytes} bytes in {patience}), "
            "but it is no gramwatt stand."
        )
        advice = (
            "Is it the right port, baud rate and firmware? If it prints lines of text, "
            f"'gramwatt describe {name}' proposes a description for it."
        )
    return ended(Ended.FAILED, cause, "not a stand", advice)


def link_lost(
    why: str, lease_s: float, *, was_armed: bool, unprotected: bool = False
) -> Outcome:
    """The port went away.

    Args:
        why: what is known of it.
        lease_s: how long a throttle holds on the stand.
        was_armed: the motor may have turned.
        unprotected: the stand has no lease.
    """
    advice = "Look at the cable and the stand's power."
    if was_armed and unprotected:
        advice = (
            "PULL THE ARMING PLUG before you go near: nothing on this stand is known "
            f"to stop its motor. {advice}"
        )
    elif was_armed:
        advice = (
            f"The stand stops by itself at most {lease_s * 1e3:.0f} ms after the last "
            f"word it got; cut the power before you go near. {advice}"
        )
    return ended(Ended.FAILED, why, "link lost", advice)
