"""Holds the state that a stand which prints lines has not, on this side of the cable.

Locked, armed, spinning, tripped, and a lease: the same table that other stands walk,
so that everything that drives a motor drives such a one in the same way. What it
grants protects against this program falling behind and against nothing else: it runs
on the same machine and at the far end of the same cable. It must never be told as the
stand's own word. No I/O, no clock.
"""

from collections.abc import Iterable
from typing import Final

from daq.link import messages as m
from daq.link.columns.description import Description
from daq.link.columns.translation import keep_alive, throttle_text
from daq.link.framing import crc16
from daq.link.standing import CAUSES, MAY_DRIVE, Move, after

# A line may get lost: what holds is said again, and so is a stop, for a while.
SAY_AGAIN_S: Final = 0.2
STOP_AGAIN_S: Final = 0.05
STOP_FOR_S: Final = 1.0


def stop_words(description: Description) -> bytes:
    """All that stops the motor: the stop text, and a throttle of zero.

    Both, where there are two: whichever is understood stops it. Whoever says stop says
    exactly this, since it is this that was seen to stop the motor.
    """
    stop = (description.commands.stop or "").encode("ascii")
    return stop + (throttle_text(description, 0) or b"")


class StandIn:
    """Grants, holds and ends throttle in a stand's place.

    Nothing is told faster than lines come, each line of it: a sketch may read one
    command each time round its loop, and a stop would wait behind whatever it has not
    read yet. Only zero and the first stop are told at once.

    Attributes:
        boot: rises with each restart that was noticed.
        state: locked until asked.
        latch: number of the event that latched it, 0 for none.
        setpoint: throttle in force, hundredths of a percent.
    """

    def __init__(self, description: Description, boot: int) -> None:
        self.boot = boot
        self.state = m.State.LOCKED
        self.latch = 0
        self.setpoint = 0
        self._description = description
        self._stop = stop_words(description)
        line_s = 1 / description.rate_hz
        self._stop_again_s = max(STOP_AGAIN_S, line_s * len(self._stop.splitlines()))
        self._said_s = float("-inf")
        self._alive = keep_alive(description)
        self._least_s = line_s * (2 if self._alive else 1)
        self._limits_crc: int | None = None
        self._nonce = 0
        self._lease_end_s = self._again_s = self._alive_s = float("inf")
        self._stop_end_s = float("-inf")
        self._number = 0
        self._events: list[tuple[m.Cause, m.State, int, int, int]] = []

    def begun_again(self, boot: int, now_s: float) -> "StandIn":
        """For the same stand after a restart: locked, and a stop is still said.

        What looks like a restart may be a clock that jumped, with the motor running.
        """
        new = StandIn(self._description, boot)
        if self.state in MAY_DRIVE or now_s <= self._stop_end_s:
            new._say_stop(now_s)
        return new

    # ------------------------------------------------------------------ what is told

    def events(self, time_us: int) -> list[m.Event]:
        """Changes of state since last asked, as a stand would tell them."""
        told, self._events = self._events, []
        return [
            m.Event(
                time_us=time_us,
                boot=self.boot,
                number=number,
                state=state,
                cause=cause,
                latch=latch,
                limit=m.NONE,
                channel=m.NONE,
                count=0,
                throttle=throttle,
            )
            for cause, state, number, latch, throttle in told
        ]

    def counters(self, time_us: int) -> m.Counters:
        """The state now, as a stand would tell it with its counters."""
        return m.Counters(
            time_us=time_us,
            boot=self.boot,
            state=self.state,
            latch=self.latch,
            events=self._number,
            throttle=self.setpoint,
            received=0,
            damaged=0,
            ignored=0,
            unsent=0,
            missed=0,
        )

    # ------------------------------------------------------------------ what is asked

    def take(self, command: m.ToStand, now_s: float) -> tuple[m.Verdict, int]:
        """Carry out a command; the verdict, and the value of its reply."""
        match command:
            case m.Limits():
                self._limits_crc = crc16(command.body())
                return m.Verdict.DONE, self._limits_crc
            case m.Arm():
                return self._arm(command, now_s), 0
            case m.Stop():
                self._go(Move.STOP)
                self._say_stop(now_s)  # whoever asks again wants it said again
                return m.Verdict.DONE, 0
            case m.Acknowledge():
                return self._acknowledge(command), 0
            case m.Lock():
                return self._lock(command, now_s), 0
            case _:
                return m.Verdict.UNKNOWN_COMMAND, 0

    def throttle(self, command: m.Throttle, now_s: float) -> bytes:
        """Renew the lease; the text where another throttle is wanted."""
        if self.state not in MAY_DRIVE or command.nonce != self._nonce:
            return b""
        if now_s >= self._lease_end_s:
            return b""
        self._lease_end_s = now_s + command.lease_ms * 1e-3
        if command.setpoint == self.setpoint:
            return b""
        before, self.setpoint = self.setpoint, command.setpoint
        if command.setpoint:
            self._go(Move.THROTTLE_UP, throttle=command.setpoint)
        else:
            self._go(Move.THROTTLE_ZERO, throttle=before)
        may_s = self._said_s + self._least_s
        if command.setpoint and now_s < may_s:
            self._again_s = min(self._again_s, may_s)
            return b""
        return self._say_throttle(now_s)

    def poll(self, now_s: float) -> bytes:
        """What is due to be said at this moment."""
        if self.state in MAY_DRIVE and now_s >= self._lease_end_s:
            self._go(Move.TRIP, m.Cause.LEASE_ENDED)
            self._say_stop(now_s)
        text = b""
        if now_s >= self._again_s:
            if self.state in MAY_DRIVE:
                text = self._say_throttle(now_s)
            else:
                text = self._stop
                over = now_s >= self._stop_end_s
                self._again_s = float("inf") if over else now_s + self._stop_again_s
        if self._alive and now_s >= self._alive_s:
            text += self._alive[0]
            self._alive_s = now_s + self._alive[1]
        return text

    @property
    def deadline_s(self) -> float:
        """When ``poll`` has something to do next."""
        return min(self._lease_end_s, self._again_s, self._alive_s)

    # ------------------------------------------------------------------ inside

    def _arm(self, command: m.Arm, now_s: float) -> m.Verdict:
        refusals: Iterable[tuple[bool, m.Verdict]] = (
            (self.state != m.State.LOCKED, m.Verdict.WRONG_STATE),
            (command.boot != self.boot, m.Verdict.WRONG_BOOT),
            (self._limits_crc is None, m.Verdict.NO_LIMITS),
            (command.limits_crc != self._limits_crc, m.Verdict.WRONG_LIMITS),
            (command.nonce in (0, self._nonce), m.Verdict.BAD_NONCE),
        )
        for refused, verdict in refusals:
            if refused:
                return verdict
        self._nonce = command.nonce
        self._go(Move.ARM)
        self._lease_end_s = now_s + command.lease_ms * 1e-3
        self._again_s = now_s  # throttle zero, first of all
        self._alive_s = now_s if self._alive else float("inf")
        return m.Verdict.DONE

    def _acknowledge(self, command: m.Acknowledge) -> m.Verdict:
        if self.state is not m.State.TRIPPED:
            return m.Verdict.WRONG_STATE
        if command.latch != self.latch:
            return m.Verdict.WRONG_LATCH
        self.latch = 0
        self._go(Move.ACKNOWLEDGE)
        return m.Verdict.DONE

    def _lock(self, command: m.Lock, now_s: float) -> m.Verdict:
        if self.state is m.State.TRIPPED:
            return m.Verdict.WRONG_STATE
        if command.boot != self.boot:
            return m.Verdict.WRONG_BOOT
        # Also where it is held to be locked: what turns it may be from before us.
        self._go(Move.LOCK)
        self._say_stop(now_s)
        return m.Verdict.DONE

    def _go(
        self, move: Move, cause: m.Cause | None = None, throttle: int | None = None
    ) -> None:
        state = after(self.state, move)
        if state is None:
            return
        self.state = state
        self._number = self._number % 0xFFFF + 1
        if state is m.State.TRIPPED:
            self.latch = self._number
        throttle = self.setpoint if throttle is None else throttle
        cause = cause or CAUSES[move]
        self._events.append((cause, state, self._number, self.latch, throttle))
        if state not in MAY_DRIVE:
            self.setpoint = 0

    def _say_throttle(self, now_s: float) -> bytes:
        self._said_s, self._again_s = now_s, now_s + SAY_AGAIN_S
        return throttle_text(self._description, self.setpoint) or b""

    def _say_stop(self, now_s: float) -> None:
        """From now on, again and again; nobody is there for the keep-alive."""
        self._lease_end_s = self._alive_s = float("inf")
        self._again_s, self._stop_end_s = now_s, now_s + STOP_FOR_S
