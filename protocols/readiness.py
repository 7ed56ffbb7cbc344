"""What has to be done before the motor may turn, and what comes next of it.

The order is a row of questions, the first unanswered one is the next phase. A
latch from before goes first, wherever it shows up: a person clears it.
"""

from dataclasses import dataclass

from protocols.phases import Phase
from protocols.proof.proof import VALID_S


@dataclass(slots=True)
class Readiness:
    """How far the preparations have come.

    Attributes:
        pulses_provable: the stand can show a real pulse with its supply off.
        guards_provable: the stand has guards of its own, to be seen to act.
        plug_awaited: it has none, but a supply that can be seen to come on.
        listened: its state and readings were heard.
        proven_s: when its guards were seen to act; None while they were not.
        supplied: the supply was seen on after that.
        zeroed: what the channels read at rest is known.
        went: the checklist is answered and the person said go.
        tried: the lease was seen to stop the running motor.
    """

    pulses_provable: bool = False
    guards_provable: bool = True
    plug_awaited: bool = False
    listened: bool = False
    proven_s: float | None = None
    supplied: bool = False
    zeroed: bool = False
    went: bool = False
    tried: bool = False

    def next_phase(self, *, latched: bool) -> Phase:
        """What is to be done now."""
        needs_proof = self.proven_s is None and self.guards_provable
        rows = (
            (not self.listened, Phase.LISTENING),
            (latched, Phase.LATCHED),
            (needs_proof and self.pulses_provable, Phase.UNPLUGGING),
            (
                (self.pulses_provable or self.plug_awaited) and not self.supplied,
                Phase.PLUGGING,
            ),
            (not self.zeroed, Phase.ZEROING),
            (needs_proof, Phase.PROVING),
        )
        # The limits come last: the proof leaves the stand with others.
        return next((phase for is_due, phase in rows if is_due), Phase.LIMITING)

    def proven(self, now_s: float) -> None:
        """The guards were seen to act."""
        self.proven_s = now_s

    def lapsed(self, now_s: float) -> bool:
        """Whether the proof is too old, or there is none; all of it is due again."""
        if not self.guards_provable:
            return False
        if self.proven_s is not None and now_s - self.proven_s <= VALID_S:
            return False
        self.proven_s = None
        self.supplied = self.zeroed = False
        return True
