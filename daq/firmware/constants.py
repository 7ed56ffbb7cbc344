"""Constants of one stand, from what its builder knows of the parts, for its EEPROM.

A TOML file names the parts; from it come scale, zero and uncertainty of each channel,
and the bytes that ``core/channels.c`` reads, as an Intel HEX file for avrdude. It must
never write where the board counts its starts.

A tolerance is a bound on either side: over the square root of three it is a standard
uncertainty (rectangular, JCGM 100:2008, 4.3.7). Where one that belongs to a channel is
not given, nobody knows how good that channel is, and the stand says so.
"""

import math
import struct
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from daq.errors import InputFault
from daq.link.framing import crc16
from daq.typed_toml import Table, check_typed, read_typed
from daq.units import gf_to_n

TEMPLATE = Path(__file__).parent / "constants.toml"
# As in core/channels.c; the tests hold what is written here against what it reads.
KEPT_ID = 0
KEPT_CONSTANTS = 16
CONSTANTS_VERSION = 1
NOT_KNOWN = 0xFFFF_FFFF
COUNTS_A_STEP = 16  # fixed point of what the 10-bit converter reads
TOP_COUNTS = 1023 * COUNTS_A_STEP
FULL_COUNTS = 1024 * COUNTS_A_STEP  # at the supply (the chip's data sheet, from memory)
CELL_FULL_COUNTS = 1 << 24  # of the excitation over the gain, both signs
CELL_TOP_COUNTS = (1 << 23) - 1
SPEED_COUNTS = 2.0
PULSE_COUNTS = 2.0e6
REFERENCE_COUNTS = 1000.0
CLOCK_U_PPM = 5000  # nobody said what keeps its time: a ceramic resonator, at worst
REFERENCE_U_PPM = 100_000
DATA_A_LINE = 16

Positive = Annotated[float, Field(gt=0, le=1e6)]
Percent = Annotated[float, Field(gt=0, le=50)]
AdcZero = Annotated[int, Field(ge=0, lt=TOP_COUNTS)]


def _one_way(
    table: Table, ways: Mapping[tuple[str, ...], tuple[str, ...]]
) -> tuple[str, ...]:
    """Which of several ways to describe a channel was taken.

    Args:
        table: the channel's table.
        ways: what each way needs, and what it may have besides.

    Raises:
        ValueError: none, half of one, or keys of two.
    """
    given = table.model_fields_set
    described = " or ".join(" and ".join(needs) for needs in ways)
    begun = [needs for needs in ways if given & set(needs)]
    if len(begun) != 1:
        many = "has two descriptions" if begun else "has no description"
        raise ValueError(f"{many}; give either {described}")
    needs = begun[0]
    for key in needs:
        if key not in given:
            raise ValueError(f"has {needs[0]}, but no {key}; give both")
    strange = sorted(given - {*needs, *ways[needs]})
    if strange:
        raise ValueError(f"{strange[0]} does not go with {needs[0]}; leave it out")
    return needs


class Board(Table):
    """The board that everything is measured with."""

    supply_v: Annotated[float, Field(ge=4.5, le=5.5)] = 5.0
    supply_tolerance_percent: Percent | None = None
    clock_tolerance_percent: Percent | None = None


class Speed(Table):
    """The sensor of revolutions."""

    pulses_per_turn: Annotated[int, Field(ge=1, le=255)] | None = None
    motor_poles: Annotated[int, Field(ge=2, le=510)] | None = None

    @model_validator(mode="after")
    def _check(self) -> Self:
        _one_way(self, {("pulses_per_turn",): (), ("motor_poles",): ()})
        if (self.motor_poles or 0) % 2:
            raise ValueError(f"motor_poles is {self.motor_poles}; poles come in pairs")
        return self

    @property
    def pulses(self) -> int:
        """Pulses a turn; a phase of the motor gives one for two poles."""
        return self.pulses_per_turn or (self.motor_poles or 2) // 2


class Current(Table):
    """What makes a voltage of the current."""

    shunt_milliohm: Positive | None = None
    shunt_tolerance_percent: Percent | None = None
    amplifier_gain: Positive | None = None
    amplifier_tolerance_percent: Percent | None = None
    mv_per_a: Positive | None = None
    tolerance_percent: Percent | None = None
    ratiometric: bool = False
    mv_at_zero: Annotated[float, Field(ge=0, le=4400)] = 0.0
    counts_per_a: Positive | None = None
    counts_at_zero: AdcZero = 0
    uncertainty_percent: Percent | None = None

    @model_validator(mode="after")
    def _check(self) -> Self:
        tolerances = ("shunt_tolerance_percent", "amplifier_tolerance_percent")
        ways = {
            ("shunt_milliohm", "amplifier_gain"): (*tolerances, "mv_at_zero"),
            ("mv_per_a",): ("tolerance_percent", "ratiometric", "mv_at_zero"),
            ("counts_per_a",): ("counts_at_zero", "uncertainty_percent"),
        }
        _one_way(self, ways)
        return self


class Voltage(Table):
    """The divider in front of the converter."""

    upper_kohm: Positive | None = None
    lower_kohm: Positive | None = None
    resistor_tolerance_percent: Percent | None = None
    counts_per_v: Positive | None = None
    counts_at_zero: AdcZero = 0
    uncertainty_percent: Percent | None = None

    @model_validator(mode="after")
    def _check(self) -> Self:
        ways = {
            ("upper_kohm", "lower_kohm"): ("resistor_tolerance_percent",),
            ("counts_per_v",): ("counts_at_zero", "uncertainty_percent"),
        }
        _one_way(self, ways)
        return self


class Thrust(Table):
    """Load cell and converter."""

    capacity_g: Positive | None = None
    sensitivity_mv_per_v: Positive | None = None
    tolerance_percent: Percent | None = None
    converter_gain: Positive = 128.0
    counts_per_n: Annotated[float, Field(ge=-1e9, le=1e9)] | None = None
    counts_at_zero: Annotated[int, Field(gt=-CELL_TOP_COUNTS, lt=CELL_TOP_COUNTS)] = 0
    uncertainty_percent: Percent | None = None

    @model_validator(mode="after")
    def _check(self) -> Self:
        ways = {
            ("capacity_g", "sensitivity_mv_per_v"): (
                "tolerance_percent",
                "converter_gain",
            ),
            ("counts_per_n",): ("counts_at_zero", "uncertainty_percent"),
        }
        _one_way(self, ways)
        if self.counts_per_n == 0:
            raise ValueError("counts_per_n is 0; a force has to move the count")
        return self


class Constants(Table):
    """Everything that differs from one stand to the next."""

    format: Literal[1]
    stand_id: Annotated[int, Field(ge=0, le=0xFFFF_FFFF)] | None = None
    board: Board = Board()
    speed: Speed = Speed(pulses_per_turn=1)
    current: Current = Current(shunt_milliohm=2.0, amplifier_gain=50.0)
    voltage: Voltage = Voltage(upper_kohm=30.0, lower_kohm=10.0)
    thrust: Thrust = Thrust(capacity_g=1000.0, sensitivity_mv_per_v=1.0)


@dataclass(frozen=True, slots=True)
class Scale:
    """What the counts of a channel mean.

    Attributes:
        channel: its name.
        counts_per_unit: counts an SI unit.
        zero_counts: the count at zero.
        u_rel: relative standard uncertainty of counts_per_unit, None where nobody
            knows.
    """

    channel: str
    counts_per_unit: float
    zero_counts: int
    u_rel: float | None

    @property
    def gain_u_ppm(self) -> int:
        """As the wire has it."""
        if self.u_rel is None:
            return NOT_KNOWN
        return max(1, min(round(self.u_rel * 1e6), NOT_KNOWN - 1))


def read_constants(source: Path) -> Constants:
    """Read a builder's file.

    Raises:
        InputFault: it cannot be read, or something in it is wrong.
    """
    constants = read_typed(source, Constants)
    volts = scales(constants)[2]
    one_volt = volts.zero_counts + volts.counts_per_unit
    if one_volt >= TOP_COUNTS:
        raise InputFault(
            f"{source}: [voltage] 1 V would be count {one_volt:.0f}, and the converter "
            f"ends at {TOP_COUNTS}: nobody would ever see the plug out. Use a divider."
        )
    return constants


def nominal() -> Constants:
    """A stand of the parts that daq/firmware/README.md names, and no tolerances."""
    return check_typed({"format": 1}, Constants, "nominal")


def _limit_u(tolerance_percent: float | None) -> float | None:
    """Relative standard uncertainty of what is within a tolerance."""
    if tolerance_percent is None:
        return None
    return tolerance_percent / 100.0 / math.sqrt(3.0)


def _stated_u(uncertainty_percent: float | None) -> float | None:
    return None if uncertainty_percent is None else uncertainty_percent / 100.0


def _together(parts: Iterable[float | None]) -> float | None:
    """Independent parts in quadrature; not known where one is not known."""
    total = 0.0
    for part in parts:
        if part is None:
            return None
        total += part * part
    return math.sqrt(total)


@dataclass(frozen=True, slots=True)
class _Measured:
    """A channel of the chip's own converter.

    Attributes:
        per_unit: counts an SI unit.
        zero: the count at zero.
        own_u: relative standard uncertainty of its parts, None where not known.
        supply_u: what the supply adds, which is the same for all channels; 0 where it
            drops out.
    """

    per_unit: float
    zero: int
    own_u: float | None
    supply_u: float | None

    def scale(self, channel: str) -> Scale:
        u_rel = _together((self.own_u, self.supply_u))
        return Scale(channel, self.per_unit, self.zero, u_rel)


def _current(current: Current, board: Board) -> _Measured:
    if current.counts_per_a is not None:
        known_u = _stated_u(current.uncertainty_percent)
        return _Measured(current.counts_per_a, current.counts_at_zero, known_u, 0.0)
    supply_v, supply_u = board.supply_v, _limit_u(board.supply_tolerance_percent)
    if current.mv_per_a is not None:
        volts_per_a = current.mv_per_a * 1e-3
        own_u = _limit_u(current.tolerance_percent)
        if current.ratiometric:
            supply_v, supply_u = 5.0, 0.0
    else:
        shunt_ohm = (current.shunt_milliohm or 0.0) * 1e-3
        volts_per_a = shunt_ohm * (current.amplifier_gain or 0.0)
        parts = (current.shunt_tolerance_percent, current.amplifier_tolerance_percent)
        own_u = _together(map(_limit_u, parts))
    per_v = FULL_COUNTS / supply_v
    zero = round(current.mv_at_zero * 1e-3 * per_v)
    return _Measured(volts_per_a * per_v, zero, own_u, supply_u)


def _voltage(voltage: Voltage, board: Board) -> _Measured:
    if voltage.counts_per_v is not None:
        known_u = _stated_u(voltage.uncertainty_percent)
        return _Measured(voltage.counts_per_v, voltage.counts_at_zero, known_u, 0.0)
    upper, lower = voltage.upper_kohm or 0.0, voltage.lower_kohm or 1.0
    part_u = _limit_u(voltage.resistor_tolerance_percent)
    # The ratio is 1 + upper / lower: each resistor moves it by this share of its own.
    share = upper / (upper + lower)
    own_u = None if part_u is None else share * math.sqrt(2.0) * part_u
    per_v = FULL_COUNTS / board.supply_v * lower / (upper + lower)
    return _Measured(per_v, 0, own_u, _limit_u(board.supply_tolerance_percent))


def _power(amps: _Measured, volts: _Measured) -> Scale:
    """The product in steps of the converter; one supply moves both factors alike."""
    per_w = amps.per_unit * volts.per_unit / COUNTS_A_STEP**2
    supply_u = None
    if amps.supply_u is not None and volts.supply_u is not None:
        supply_u = amps.supply_u + volts.supply_u
    return Scale("power", per_w, 0, _together((amps.own_u, volts.own_u, supply_u)))


def _thrust(thrust: Thrust) -> Scale:
    """Scale of the thrust; cell and converter share their supply, which drops out."""
    if thrust.counts_per_n is not None:
        known_u = _stated_u(thrust.uncertainty_percent)
        return Scale("thrust", thrust.counts_per_n, thrust.counts_at_zero, known_u)
    at_capacity = (thrust.sensitivity_mv_per_v or 0.0) * 1e-3
    counts = at_capacity * thrust.converter_gain * CELL_FULL_COUNTS
    per_n = counts / gf_to_n(thrust.capacity_g or 1.0)
    return Scale("thrust", per_n, 0, _limit_u(thrust.tolerance_percent))


def scales(constants: Constants) -> tuple[Scale, ...]:
    """What the counts of each channel mean, in the order of the stand's channels.

    Scales of speed, pulse and reference are the firmware's own; only what keeps its
    time makes a difference to them.
    """
    amps = _current(constants.current, constants.board)
    volts = _voltage(constants.voltage, constants.board)
    clock_u = _limit_u(constants.board.clock_tolerance_percent)
    clock_u = CLOCK_U_PPM * 1e-6 if clock_u is None else clock_u
    return (
        amps.scale("current"),
        amps.scale("current-high"),
        volts.scale("voltage"),
        volts.scale("voltage-low"),
        _power(amps, volts),
        Scale("speed", SPEED_COUNTS, 0, clock_u),
        Scale("pulse", PULSE_COUNTS, 0, clock_u),
        _thrust(constants.thrust),
        Scale("reference", REFERENCE_COUNTS, 0, REFERENCE_U_PPM * 1e-6),
    )


def kept(constants: Constants) -> dict[int, bytes]:
    """What goes into the EEPROM, by address; nothing else is to be written."""
    body = struct.pack("<BB", CONSTANTS_VERSION, constants.speed.pulses)
    for scale in scales(constants):
        body += struct.pack(
            "<fiI", scale.counts_per_unit, scale.zero_counts, scale.gain_u_ppm
        )
    blocks = {KEPT_CONSTANTS: body + crc16(body).to_bytes(2, "big")}
    if constants.stand_id is not None:
        own = constants.stand_id
        blocks[KEPT_ID] = struct.pack("<II", own, own ^ 0xFFFF_FFFF)
    return dict(sorted(blocks.items()))


def _record(address: int, kind: int, data: bytes) -> str:
    record = struct.pack(">BHB", len(data), address, kind) + data
    return f":{record.hex().upper()}{-sum(record) & 0xFF:02X}\n"


def intel_hex(blocks: Mapping[int, bytes]) -> str:
    """Bytes as an Intel HEX file (Intel, 1988), with gaps where nothing is given."""
    lines = [
        _record(address + at, 0, data[at : at + DATA_A_LINE])
        for address, data in blocks.items()
        for at in range(0, len(data), DATA_A_LINE)
    ]
    return "".join([*lines, _record(0, 1, b"")])
