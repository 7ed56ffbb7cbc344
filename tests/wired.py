"""A firmware with the plant of the simulated stand wired to its pins.

Every millisecond the pulse on its output moves the plant, and the plant moves the
converter inputs, the load cell and the pulses of the revolutions.
"""

import math
from collections.abc import Sequence

from daq.firmware.lockstep import Lockstep, Pulse
from daq.stand.plant.bench import Plant
from daq.stand.plant.truth import shipped_truth

# What the nominal parts of daq/firmware/README.md make of it.
STEPS_A_VOLT = 51.2  # divider by 4; 1024 steps of 5 V
STEPS_AN_AMPERE = 20.48  # 2 milliohm, gain 50
COUNTS_A_NEWTON = 218_982.0
TOP = 1023
CELL_TOP = (1 << 23) - 1
TURN_HALF_US = 2.0e6 * 2.0 * math.pi  # over the speed in rad/s
SLOWEST_RAD_S = 20.0
NOISE_STEPS = 3


class Wired:
    """A firmware and the plant that it drives.

    It can be served in place of a simulated device.

    Attributes:
        board: the firmware.
        plant: what hangs on its pins.
        pulses: every servo pulse so far.
        muted: channels whose sensor says nothing.
        unsent: times that the line did not take what was sent.
    """

    def __init__(self, command: Sequence[str], seed: int = 1) -> None:
        self.board = Lockstep(command)
        self.plant = Plant(shipped_truth(), seed)
        self.pulses: list[Pulse] = []
        self.muted: set[str] = set()
        self.unsent = 0
        self._loop_open = False
        self._width_s = 0.0
        self._on_pins: dict[str, str] = {}
        self.board.ask(f"noise {NOISE_STEPS}")

    @property
    def plug_in(self) -> bool:
        """Whether the arming plug is in."""
        return self.plant.plug_in

    @plug_in.setter
    def plug_in(self, is_in: bool) -> None:
        self.plant.plug_in = is_in

    @property
    def stop_loop_open(self) -> bool:
        """Whether the stop loop is open."""
        return self._loop_open

    @stop_loop_open.setter
    def stop_loop_open(self, is_open: bool) -> None:
        self._loop_open = is_open
        self.board.ask(f"loop {int(is_open)}")

    @property
    def pulse_s(self) -> float:
        """Width of the newest servo pulse."""
        return self._width_s

    def receive(self, data: bytes) -> None:
        """Bytes to the stand."""
        self.board.send(data)

    def advance(self, ticks: int = 1) -> bytes:
        """Let milliseconds pass; what the stand sent meanwhile."""
        sent = b""
        for _ in range(ticks):
            self.plant.advance(1e-3, self._width_s)
            told = self.board.ask(";".join([*self._moved(), "run 1000"]))
            sent += told.sent
            if told.pulses:
                self._width_s = told.pulses[-1].width_us * 1e-6
                self.pulses += told.pulses
        return sent

    def _moved(self) -> list[str]:
        """What to tell the pins: whatever is not as it was."""
        state = self.plant.state
        pins = {
            "current": self._steps("current", state.bus_a * STEPS_AN_AMPERE),
            "voltage": self._steps("voltage", state.bus_v * STEPS_A_VOLT),
            "cell": self._cell(state.felt_n),
            "turns": self._turns(state.speed_rad_s),
            "readback": str(int("pulse" not in self.muted)),
        }
        moved = [f"{k} {v}" for k, v in pins.items() if self._on_pins.get(k) != v]
        self._on_pins = pins
        return moved

    def _steps(self, name: str, steps: float) -> str:
        return "-1" if name in self.muted else str(min(max(round(steps), 0), TOP))

    def _cell(self, felt_n: float) -> str:
        counts = min(max(round(felt_n * COUNTS_A_NEWTON), -CELL_TOP - 1), CELL_TOP)
        return "off" if "thrust" in self.muted else str(counts)

    def _turns(self, speed_rad_s: float) -> str:
        turns = speed_rad_s > SLOWEST_RAD_S
        return str(round(TURN_HALF_US / speed_rad_s)) if turns else "0"

    def close(self) -> None:
        """End the firmware."""
        self.board.close()
