"""What the servo pin did, in the device's own time."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from typing_extensions import override

from daq.firmware.lockstep import Pulse
from tests.contract.host import Host
from tests.contract.subjects import Firmware

SERVO_US = 2500
LEASE_MS = 200
ZERO_US = 1000.0
LEAST_US = 0.5  # the timer's step


@dataclass(frozen=True, slots=True)
class Load:
    """What a program took of its chip.

    Attributes:
        busy_share: of the time, the share in which it had something to do.
        stack_bytes: the deepest that its stack has been.
    """

    busy_share: float
    stack_bytes: int


class Bench(Host):
    """A host of a firmware whose pins can be seen and moved."""

    def __init__(self, command: Sequence[str], lag_us: int = 0) -> None:
        self.firmware = Firmware(command, lag_us=lag_us)
        super().__init__(self.firmware)

    @override
    def throttle_body(self, setpoint: int, **changes: int) -> bytes:
        """A throttle with the lease that the host really uses."""
        return super().throttle_body(setpoint, **({"lease_ms": LEASE_MS} | changes))

    @property
    def pulses(self) -> list[Pulse]:
        """Every servo pulse so far."""
        return self.firmware.wired.pulses

    @property
    def pin_us(self) -> float:
        """Time now, as the pin's meter counts it."""
        return self.firmware.wired.board.now_us

    def ask_board(self, command: str) -> list[list[str]]:
        """Say something to the bench itself; what it answered."""
        return self.firmware.wired.board.ask(command).other

    def load(self, act: Callable[[], object]) -> Load:
        """What the program takes of its chip while that goes on."""
        self.ask_board("use")
        act()
        ((_, share, stack),) = self.ask_board("use")
        return Load(float(share), int(stack))

    def falls(self, since_us: float) -> float:
        """When the first pulse at zero began, after the last one that was not.

        Microseconds from ``since_us``; everything after it has to be at zero too.
        """
        later = [p for p in self.pulses if p.at_us >= since_us]
        up = [i for i, p in enumerate(later) if p.width_us > ZERO_US + 2 * LEAST_US]
        first = up[-1] + 1 if up else 0
        assert first < len(later), "the pulse never came down"
        assert up == list(range(first)), "it came up again"
        return later[first].at_us - since_us

    def up(self) -> bool:
        """Whether the newest pulse is above zero."""
        return self.pulses[-1].width_us > ZERO_US + 2 * LEAST_US

    def close(self) -> None:
        """End it."""
        self.firmware.close()
