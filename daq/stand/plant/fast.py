"""The bus within a step: leads that ring, capacitors, a bridge that chops.

Only worked out while somebody looks. What the slow plant says of the newest step goes
in (mean currents, duty, voltage), and the bus at every microsecond of that step comes
out, by the exact answer of a linear circuit to a current in straight pieces. It must
never say anything else on average than the slow plant does.

Sources: Kirchhoff's laws. R. W. Erickson, D. Maksimovic, Fundamentals of Power
Electronics, ch. 2 and 4 (what a bridge draws, ripple of the inductor's current; from
memory). Current of a phase that is switched off dies against the bus in about L I/V;
six times an electrical turn (any text on brushless motors; from memory). What is left
out: inductance of the capacitors, dead times, edges of the bridge that take time,
resistance that grows with frequency, the pack's own slow answer within a step, phases
that are not alike.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from daq.stand.plant.truth_fast import BusCapacitorTruth, FastTruth

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

GRID_S = 1e-6
BLOCK = 25
"""Points of the grid that are solved at once."""
DEMAGNETISED_MOST = 0.2
"""A dip lasts no longer than that share of the time between two of them."""
COMMUTATIONS = 6
VOLTAGE = "voltage"


@dataclass(frozen=True, slots=True)
class Held:
    """What the slow plant says of one step.

    Attributes:
        number: of the step.
        fed: whether the pack feeds the bus.
        emf_v: of the pack, inside.
        source_ohm: between the pack's inside and the bus.
        duty_frac: of the bridge, at the start and at the end.
        motor_a: mean of the motor's current over the cycles, at the start and the end.
        rest_a: what else is drawn, mean.
        speed_rad_s: of the shaft.
        bus_v: mean voltage of the bus.
    """

    number: int
    fed: bool
    emf_v: float
    source_ohm: float
    duty_frac: tuple[float, float]
    motor_a: tuple[float, float]
    rest_a: float
    speed_rad_s: float
    bus_v: float

    @property
    def bus_a(self) -> float:
        """What the bridge and the rest draw, mean over the step."""
        duty, motor = sum(self.duty_frac) / 2, sum(self.motor_a) / 2
        return duty * motor + self.rest_a


@dataclass(frozen=True, slots=True)
class Pieces:
    """A current in straight pieces over one step.

    Attributes:
        at_s: where each begins, from 0, shape (n,).
        amp: what it begins with.
        slope_a_s: how it goes on.
    """

    at_s: Array
    amp: Array
    slope_a_s: Array

    def at(self, t_s: Array) -> tuple[Array, Array]:
        """Current and slope just after some moments."""
        piece = np.searchsorted(self.at_s, t_s, "right") - 1
        since_s = t_s - self.at_s[piece]
        return self.amp[piece] + self.slope_a_s[piece] * since_s, self.slope_a_s[piece]


class Bridge:
    """What the bridge draws, piece by piece, with its two phases kept.

    On for the duty of each cycle, when the motor's current rises by
    V d (1 - d)/(L f) about its mean; off it draws nothing. While a phase is switched
    over the bus loses a part of it, which the rest of the time makes up for.
    """

    def __init__(self, truth: FastTruth, chopping_hz: float, step_s: float) -> None:
        self._truth = truth
        self._chopping_hz = chopping_hz
        self._step_s = step_s
        self._turn = 0.0  # commutations since somebody looks

    def pieces(self, held: Held) -> Pieces:
        """Over one step; the next one must be the step after it."""
        rate_hz = self._commutation_hz(held)
        turn, self._turn = self._turn, (self._turn + rate_hz * self._step_s) % 1.0
        if max(held.duty_frac) <= 0.0 or max(held.motor_a) <= 0.0:
            flat = np.array([held.rest_a])
            return Pieces(np.zeros(1), flat, np.zeros(1))
        return self._driven(held, rate_hz, turn)

    def _commutation_hz(self, held: Held) -> float:
        electrical = self._truth.pole_pairs * held.speed_rad_s / (2.0 * math.pi)
        return COMMUTATIONS * electrical

    def _driven(self, held: Held, rate_hz: float, turn: float) -> Pieces:
        step_s, hertz = self._step_s, self._chopping_hz
        phase = (held.number * step_s * hertz) % 1.0
        on_s = (np.arange(math.floor(phase + step_s * hertz) + 2) - phase) / hertz
        duty_from, duty_to = held.duty_frac
        duties = duty_from + (duty_to - duty_from) * np.clip(on_s / step_s, 0.0, 1.0)
        off_s = on_s + duties / hertz
        dip_s, dips_s = self._dips(held, rate_hz, turn)
        edges = np.concatenate(([0.0], on_s, off_s, dips_s, dips_s + dip_s))
        edges = np.unique(edges[(edges >= 0.0) & (edges < step_s)])
        ends = np.append(edges[1:], step_s)
        middle = 0.5 * (edges + ends)
        cycle = np.searchsorted(on_s, middle, "right") - 1
        since = middle - on_s[cycle]
        on = middle < off_s[cycle]
        amp, slope = self._motor(held, middle, since, duties[cycle])
        if dip_s:
            turned = (turn + middle * rate_hz) % 1.0
            depth, share = self._truth.commutation_dip_frac, dip_s * rate_hz
            left = np.where(turned < share, 1.0 - depth, 1.0) / (1.0 - depth * share)
            amp, slope = amp * left, slope * left
        amp = np.where(on, amp - slope * (middle - edges), 0.0)
        return Pieces(edges, amp + held.rest_a, np.where(on, slope, 0.0))

    def _dips(self, held: Held, rate_hz: float, turn: float) -> tuple[float, Array]:
        """How long a dip is, and when they begin."""
        truth, step_s = self._truth, self._step_s
        if rate_hz <= 0.0 or truth.commutation_dip_frac <= 0.0 or held.bus_v <= 0.0:
            return 0.0, np.zeros(0)
        dip_s = truth.motor_h * sum(held.motor_a) / 2 / held.bus_v
        dip_s = min(dip_s, DEMAGNETISED_MOST / rate_hz)
        count = math.floor(turn + step_s * rate_hz) + 1
        return dip_s, np.asarray((np.arange(count) - turn) / rate_hz, np.float64)

    def _motor(
        self, held: Held, at_s: Array, since_s: Array, duty: Array
    ) -> tuple[Array, Array]:
        """Current of the motor in the middle of pieces while on, and its slope."""
        start, end = held.motor_a
        mean = start + (end - start) * at_s / self._step_s
        hertz = self._chopping_hz
        swing = held.bus_v * duty * (1.0 - duty) / (self._truth.motor_h * hertz)
        swing = np.minimum(np.maximum(swing, 0.0), 2.0 * mean)
        on_s = np.maximum(duty, 1e-9) / hertz
        rising = swing / on_s
        drift = (end - start) / self._step_s
        return mean + rising * (since_s - 0.5 * on_s), rising + drift


class _Modes:
    """The circuit taken apart into answers that decay each by itself.

    States: current in the leads, voltage inside each capacitor, and behind the
    filters of voltage and current. Exact between any two moments.
    """

    def __init__(self, matrix: Array, by_amp: Array, by_volt: Array, size: int) -> None:
        rates, vectors = np.linalg.eig(matrix)
        inverse = np.linalg.inv(vectors)
        # Of a pair that rings one stands for both: the other is its mirror image.
        kept = rates.imag >= 0.0
        twice = np.where(rates.imag[kept] > 0.0, 2.0, 1.0)
        self._vectors: Complex = vectors[:, kept] * twice
        self._inverse: Complex = inverse[kept].astype(np.complex128)
        self._rates: Complex = rates[kept].astype(np.complex128)[:, np.newaxis]
        self._by_amp = (self._inverse @ by_amp)[:, np.newaxis]
        self._by_volt = (self._inverse @ by_volt)[:, np.newaxis]
        self._grid_s = np.asarray(np.arange(size) * GRID_S, np.float64)
        self._size, self._blocks = size, -(-size // BLOCK)
        self._within, self._first = self._ladder(GRID_S, BLOCK)
        self._across, self._carried = self._ladder(GRID_S * BLOCK, self._blocks)
        self._whole, self._ramp = self._answers(np.array([GRID_S]))

    def _ladder(self, step_s: float, size: int) -> tuple[Complex, Complex]:
        """How what came in is left at each later point, and the start itself."""
        lag = np.arange(size)[:, np.newaxis] - np.arange(size)[np.newaxis, :]
        decays = np.exp(self._rates * step_s * np.arange(size + 1))
        ladder = np.where(lag >= 0, decays[:, np.maximum(lag, 0)], 0.0)
        # Turned over, so that rows of what came in can be multiplied by it.
        return np.ascontiguousarray(ladder.transpose(0, 2, 1)), decays[:, 1:]

    def _answers(self, left_s: Array) -> tuple[Complex, Complex]:
        """To one ampere held so long, and to one that grows by 1 A/s meanwhile."""
        x = self._rates * left_s
        grown = np.expm1(x)
        return grown / self._rates, (grown - x) / self._rates**2

    def state(self, modes: Complex) -> Array:
        """All states at one moment, by its modes."""
        return np.asarray((self._vectors @ modes).real)

    def row(self, modes: Complex, row: int) -> Array:
        """One state at many moments."""
        by = self._vectors[row]
        return np.asarray(by.real @ modes.real - by.imag @ modes.imag)

    def walk(self, state: Array, pieces: Pieces, emf_v: float) -> Complex:
        """Modes after each microsecond of one step, shape (modes, size)."""
        amp, slope = pieces.at(self._grid_s)
        driven = amp * self._whole + slope * self._ramp
        cell = np.searchsorted(self._grid_s, pieces.at_s, "right") - 1
        inside = pieces.at_s > self._grid_s[cell]
        if inside.any():
            jump_a, bend_a_s = _changes(pieces)
            left_s = (cell[inside] + 1) * GRID_S - pieces.at_s[inside]
            whole, ramp = self._answers(left_s)
            late = jump_a[inside] * whole + bend_a_s[inside] * ramp
            cells, firsts = np.unique(cell[inside], return_index=True)
            driven[:, cells] += np.add.reduceat(late, firsts, axis=1)
        forced = self._by_amp * driven + self._by_volt * (emf_v * self._whole)
        return self._scan(self._inverse @ state, forced)

    def _scan(self, start: Complex, forced: Complex) -> Complex:
        count, size, blocks = start.size, self._size, self._blocks
        padded = np.zeros((count, blocks * BLOCK), dtype=np.complex128)
        padded[:, :size] = forced
        own = padded.reshape(count, blocks, BLOCK) @ self._within
        ends = own[:, np.newaxis, :, -1] @ self._across
        ends = ends[:, 0, :] + self._carried * start[:, np.newaxis]
        begins = np.concatenate((start[:, np.newaxis], ends[:, :-1]), axis=1)
        whole = own + begins[:, :, np.newaxis] * self._first[:, np.newaxis, :]
        return np.asarray(whole.reshape(count, -1)[:, :size])


def _changes(pieces: Pieces) -> tuple[Array, Array]:
    """Jump and bend where each piece begins; none at the first."""
    length = np.diff(pieces.at_s)
    jump, bend = np.zeros_like(pieces.amp), np.zeros_like(pieces.amp)
    jump[1:] = pieces.amp[1:] - (pieces.amp[:-1] + pieces.slope_a_s[:-1] * length)
    bend[1:] = np.diff(pieces.slope_a_s)
    return jump, bend


class Moments:
    """The bus at the end of each microsecond of one step, worked out as it is asked."""

    def __init__(self, row: Callable[[int], Array], node: Callable[[], Array]) -> None:
        """Made by ``FastBus``.

        Args:
            row: gives a state at all moments; the last two are what the converter sees.
            node: gives the voltage at the ESC at all moments.
        """
        self._row, self._node = row, node

    @property
    def bus_v(self) -> Array:
        """Voltage at the ESC, shape (size,)."""
        return self._node()

    @property
    def lead_a(self) -> Array:
        """Current from the pack, shape (size,)."""
        return self._row(0)

    def filtered(self, name: str) -> Array:
        """What the converter sees of ``voltage`` or ``current``, shape (size,)."""
        return self._row(-2 if name == VOLTAGE else -1)


class FastBus:
    """The bus at every microsecond of a step, for who looks."""

    def __init__(
        self,
        truth: FastTruth,
        capacitor: BusCapacitorTruth | None,
        esc_f: float,
        chopping_hz: float,
        tap_ohm: float,
        step_s: float,
    ) -> None:
        self._truth = truth
        self._banks = [(esc_f, truth.esc_esr_ohm)]
        if capacitor is not None:
            self._banks.append((capacitor.capacitance_f, capacitor.esr_ohm))
        self._tap_ohm = tap_ohm
        self._size = round(step_s / GRID_S)
        self._step_s = step_s
        self._bridge = Bridge(truth, chopping_hz, step_s)
        self._modes: _Modes | None = None
        self._for_ohm = math.nan
        self._state = np.zeros(len(self._banks) + 3)
        self._seen: Moments | None = None
        self._number = -2

    def moments(self, held: Held) -> Moments:
        """The step that it tells of; asked again, the same."""
        if held.number == self._number and self._seen is not None:
            return self._seen
        if held.number != self._number + 1:
            self._settle(held)
        self._seen = self._step(held)
        self._number = held.number
        return self._seen

    def _settle(self, held: Held) -> None:
        """Nobody looked before: as if the step before had been like this one."""
        volt = held.bus_v
        self._state[:] = volt
        self._state[0] = held.bus_a if held.fed else 0.0
        self._state[-2] += self._tap_ohm * self._state[0]
        self._state[-1] = self._state[0]
        if held.fed:
            self._step(held)

    def _step(self, held: Held) -> Moments:
        if not held.fed:
            return self._unfed(held)
        modes = self._modes_at(held.source_ohm)
        pieces = self._bridge.pieces(held)
        walked = modes.walk(self._state, pieces, held.emf_v)
        self._state = modes.state(walked[:, -1])
        return Moments(
            partial(modes.row, walked), partial(self._node_v, modes, walked, pieces)
        )

    def _unfed(self, held: Held) -> Moments:
        """The capacitors alone, which the slow plant follows."""
        bus_v = np.linspace(float(self._state[1]), held.bus_v, self._size + 1)[1:]
        self._state[:] = held.bus_v
        self._state[0] = self._state[-1] = 0.0
        none = np.zeros(self._size)
        return Moments(lambda row: bus_v if row == -2 else none, lambda: bus_v)

    def _node_v(self, modes: _Modes, walked: Complex, pieces: Pieces) -> Array:
        """Voltage where leads, capacitors and bridge meet."""
        ends_s = np.asarray((np.arange(self._size) + 1) * GRID_S, np.float64)
        fed = modes.row(walked, 0) - pieces.at(ends_s)[0]
        for row, (_, esr) in enumerate(self._banks, 1):
            fed = fed + modes.row(walked, row) / esr
        siemens = sum(1.0 / esr for _, esr in self._banks)
        return np.asarray(fed / siemens)

    def _modes_at(self, source_ohm: float) -> _Modes:
        if self._modes is None or source_ohm != self._for_ohm:
            self._for_ohm = source_ohm
            self._modes = _Modes(*self._circuit(source_ohm), self._size)
        return self._modes

    def _circuit(self, source_ohm: float) -> tuple[Array, Array, Array]:
        """dx/dt = matrix x + by_amp u + by_volt emf."""
        truth, count = self._truth, len(self._banks)
        node = np.zeros(count + 3)  # the bus voltage by the states
        siemens = sum(1.0 / esr for _, esr in self._banks)
        node[0] = 1.0 / siemens
        node_by_amp = -1.0 / siemens
        for row, (_, esr) in enumerate(self._banks, 1):
            node[row] = 1.0 / (esr * siemens)
        matrix = np.zeros((count + 3, count + 3))
        by_amp, by_volt = np.zeros(count + 3), np.zeros(count + 3)
        matrix[0] = -node / truth.wiring_h
        matrix[0, 0] -= source_ohm / truth.wiring_h
        by_amp[0] = -node_by_amp / truth.wiring_h
        by_volt[0] = 1.0 / truth.wiring_h
        for row, (farad, esr) in enumerate(self._banks, 1):
            matrix[row] = node / (esr * farad)
            matrix[row, row] -= 1.0 / (esr * farad)
            by_amp[row] = node_by_amp / (esr * farad)
        matrix[-2] = node / truth.voltage_filter_s
        matrix[-2, 0] += self._tap_ohm / truth.voltage_filter_s
        matrix[-2, -2] -= 1.0 / truth.voltage_filter_s
        by_amp[-2] = node_by_amp / truth.voltage_filter_s
        matrix[-1, 0] = 1.0 / truth.current_filter_s
        matrix[-1, -1] = -1.0 / truth.current_filter_s
        return matrix, by_amp, by_volt
