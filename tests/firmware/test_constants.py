"""A builder's constants: the arithmetic, and what the firmware makes of the file."""

import math
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from daq.errors import InputFault
from daq.firmware import build
from daq.firmware.constants import (
    KEPT_CONSTANTS,
    KEPT_ID,
    NOT_KNOWN,
    TEMPLATE,
    Scale,
    intel_hex,
    kept,
    nominal,
    read_constants,
    scales,
)
from daq.firmware.lockstep import Lockstep
from daq.link import messages as m
from daq.link.framing import Deframer, crc16, frame
from tests import built

BOOT_NUMBERS = range(8, 16)
LATE = 0.02  # of a millisecond: an edge waits for other interrupts
WORKED = """
format = 1
stand_id = 0x00000a17
[board]
supply_v = 4.9
supply_tolerance_percent = 1
clock_tolerance_percent = 0.01
[speed]
motor_poles = 12
[current]
shunt_milliohm = 5
shunt_tolerance_percent = 1
amplifier_gain = 50
amplifier_tolerance_percent = 0.5
[voltage]
upper_kohm = 30
lower_kohm = 7.5
resistor_tolerance_percent = 1
[thrust]
capacity_g = 500
sensitivity_mv_per_v = 0.7
tolerance_percent = 15
"""
MEASURED = """
format = 1
[current]
mv_per_a = 66
tolerance_percent = 1.5
ratiometric = true
mv_at_zero = 2500
[voltage]
counts_per_v = 812.5
counts_at_zero = 3
uncertainty_percent = 0.2
[thrust]
counts_per_n = -431002.5
counts_at_zero = -12345
uncertainty_percent = 0.3
"""


def scale_of(text: str, channel: str, folder: Path) -> Scale:
    source = folder / "constants.toml"
    source.write_text(text, "utf-8")
    return next(s for s in scales(read_constants(source)) if s.channel == channel)


# --- Arithmetic -----------------------------------------------------------------------


def test_two_milliohm_and_fifty_are_a_tenth_of_a_volt_an_ampere() -> None:
    """Ohm's law: 50 A in 2 milliohm are 0.1 V, times 50 the whole 5 V of 1024 steps."""
    current = scales(nominal())[0]
    assert current.counts_per_unit * 50.0 == pytest.approx(1024 * 16)


def test_a_divider_by_four_fills_the_converter_at_20_v() -> None:
    voltage = scales(nominal())[2]
    assert voltage.counts_per_unit * 20.0 == pytest.approx(1024 * 16)


def test_power_is_the_product_of_the_steps() -> None:
    current, _, voltage, _, power, *_ = scales(nominal())
    volts, amps = 11.1, 7.0
    product = (volts * voltage.counts_per_unit / 16) * (
        amps * current.counts_per_unit / 16
    )
    assert volts * amps * power.counts_per_unit == pytest.approx(product)


def test_a_load_cell_fills_a_24_bit_converter_at_20_mv() -> None:
    """Data sheet of a common 24-bit bridge converter, from memory: at a gain of 128 and
    5 V of excitation full scale is 20 mV either way (half the excitation over the gain:
    19.53 mV). A cell of 1 mV/V then gives 5 mV at its capacity."""
    thrust = next(s for s in scales(nominal()) if s.channel == "thrust")
    capacity_n = 9.80665  # 1 kg at standard gravity (CGPM 1901)
    full_mv = 2**23 / (thrust.counts_per_unit * capacity_n) * 5.0
    assert full_mv == pytest.approx(19.53, abs=0.005)


def test_a_tolerance_is_taken_as_the_guide_takes_one(tmp_path: Path) -> None:
    """JCGM 100:2008, 4.3.7, example 1: 16.52e-6 known to within 0.40e-6 has a standard
    uncertainty of 0.23e-6."""
    percent = 100 * 0.40 / 16.52
    text = f"""format = 1
        [thrust]
        capacity_g = 1000
        sensitivity_mv_per_v = 1
        tolerance_percent = {percent}"""
    u_rel = scale_of(text, "thrust", tmp_path).u_rel
    assert u_rel is not None
    assert round(u_rel * 16.52, 2) == 0.23


def test_tolerances_come_together_in_quadrature(tmp_path: Path) -> None:
    root = math.sqrt(3.0)
    current = scale_of(WORKED, "current", tmp_path)
    assert current.u_rel == pytest.approx(math.sqrt(1 + 0.25 + 1) / 100 / root)
    # 30 over 37.5 of a resistor's own, for two of them, and the supply.
    voltage = scale_of(WORKED, "voltage", tmp_path)
    assert voltage.u_rel == pytest.approx(math.sqrt(2 * 0.8**2 + 1) / 100 / root)
    # The supply is in both factors of the power, and is the same one.
    power = scale_of(WORKED, "power", tmp_path)
    parts = 1 + 0.25 + 2 * 0.8**2 + 2**2
    assert power.u_rel == pytest.approx(math.sqrt(parts) / 100 / root)


def test_a_divider_is_as_uncertain_as_its_resistors_make_it(tmp_path: Path) -> None:
    """Each resistor's part against what moving it does (JCGM 100:2008, 5.1.3)."""
    head = "format = 1\n[board]\nsupply_tolerance_percent = 1e-6\n[voltage]\n"

    def moved(upper: float, lower: float) -> Scale:
        own = f"upper_kohm = {upper}\nlower_kohm = {lower}\n"
        own += "resistor_tolerance_percent = 2"
        return scale_of(head + own, "voltage", tmp_path)

    still = moved(30, 7.5)
    more = [moved(30 * 1.0002, 7.5), moved(30, 7.5 * 1.0002)]
    shares = [(s.counts_per_unit / still.counts_per_unit - 1) / 2e-4 for s in more]
    expected = math.hypot(*shares) * 0.02 / math.sqrt(3.0)
    assert still.u_rel == pytest.approx(expected, rel=1e-3)


def test_a_ratiometric_sensor_does_not_mind_the_supply(tmp_path: Path) -> None:
    """66 mV/A at 5 V, resting at the middle: 16384 counts are the whole supply."""
    for supply in (4.8, 5.0):
        text = f"{MEASURED}[board]\nsupply_v = {supply}\n"
        current = scale_of(text, "current", tmp_path)
        assert current.counts_per_unit == pytest.approx(0.066 / 5.0 * 16384)
        assert current.zero_counts == 8192
        assert current.u_rel == pytest.approx(0.015 / math.sqrt(3.0))


@pytest.mark.parametrize(
    "line",
    ["supply_tolerance_percent = 1", "amplifier_tolerance_percent = 0.5"],
)
def test_what_is_known_in_part_is_not_known(line: str, tmp_path: Path) -> None:
    assert WORKED.count(line) == 1
    current = scale_of(WORKED.replace(line, ""), "current", tmp_path)
    power = scale_of(WORKED.replace(line, ""), "power", tmp_path)
    assert (current.gain_u_ppm, power.gain_u_ppm) == (NOT_KNOWN, NOT_KNOWN)


# --- Bad input ------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "format is missing"),
        ("format = 2", "format is 2; it must be 1"),
        ("format = 1\nstand_id = -1", "stand_id is -1; it must be at least 0"),
        (
            "format = 1\n[curent]\nmv_per_a = 66",
            "curent is not a known key; current was probably meant",
        ),
        (
            "format = 1\n[current]\nshunt_milliohms = 2\namplifier_gain = 50",
            "current.shunt_milliohms is not a known key; "
            "shunt_milliohm was probably meant",
        ),
        (
            "format = 1\n[current]\nshunt_milliohm = 0\namplifier_gain = 50",
            "current.shunt_milliohm is 0; it must be above 0",
        ),
        (
            'format = 1\n[thrust]\ncapacity_g = "1 kg"\nsensitivity_mv_per_v = 1',
            'thrust.capacity_g is "1 kg"; it must be a number',
        ),
        (
            "format = 1\n[current]\nshunt_milliohm = 2",
            "[current] has shunt_milliohm, but no amplifier_gain; give both",
        ),
        (
            "format = 1\n[current]\nshunt_milliohm = 2\namplifier_gain = 50\n"
            "mv_per_a = 66",
            "[current] has two descriptions; give either",
        ),
        ("format = 1\n[voltage]\n", "[voltage] has no description; give either"),
        (
            "format = 1\n[voltage]\ncounts_per_v = 819\nresistor_tolerance_percent = 1",
            "resistor_tolerance_percent does not go with counts_per_v; leave it out",
        ),
        (
            "format = 1\n[voltage]\ncounts_per_v = 16400",
            "[voltage] 1 V would be count 16400",
        ),
        (
            "format = 1\n[thrust]\ncounts_per_n = 0",
            "counts_per_n is 0; a force has to move the count",
        ),
        (
            "format = 1\n[speed]\nmotor_poles = 13",
            "motor_poles is 13; poles come in pairs",
        ),
        ("format = 1\n[board]\nsupply_v = 3.3", "board.supply_v is 3.3; it must be"),
        ("format = 1\n[board]\nsupply_v = 4,9", "Write decimals with a point"),
    ],
)
def test_what_is_wrong_is_said_with_file_and_key(
    text: str, said: str, tmp_path: Path
) -> None:
    source = tmp_path / "constants.toml"
    source.write_text(text, "utf-8")
    with pytest.raises(InputFault) as fault:
        read_constants(source)
    assert str(fault.value).startswith(str(source))
    assert said in str(fault.value)
    assert "\n" not in str(fault.value)


# --- The file for avrdude -------------------------------------------------------------


def worked(folder: Path, text: str = WORKED) -> dict[int, bytes]:
    source = folder / "constants.toml"
    source.write_text(text, "utf-8")
    return kept(read_constants(source))


def test_the_number_of_starts_is_left_alone(tmp_path: Path) -> None:
    for text in (WORKED, MEASURED):
        for address, data in worked(tmp_path, text).items():
            assert not set(range(address, address + len(data))) & set(BOOT_NUMBERS)
    assert set(worked(tmp_path)) == {KEPT_ID, KEPT_CONSTANTS}
    assert set(worked(tmp_path, MEASURED)) == {KEPT_CONSTANTS}


def test_another_program_reads_the_file_as_it_was_meant(tmp_path: Path) -> None:
    blocks = worked(tmp_path)
    source, flat = tmp_path / "stand.eep", tmp_path / "flat"
    source.write_text(intel_hex(blocks), "ascii")
    built.chip()  # or skip: it comes with the compiler
    objcopy = [build.tool("avr-objcopy"), "-I", "ihex", "-O", "binary"]
    fill = ["--gap-fill", "0xEE", str(source), str(flat)]
    subprocess.run([*objcopy, *fill], check=True)
    data = flat.read_bytes()
    for address, block in blocks.items():
        assert data[address : address + len(block)] == block
    assert all(data[at] == 0xEE for at in BOOT_NUMBERS)
    assert len(data) == KEPT_CONSTANTS + len(blocks[KEPT_CONSTANTS])


# --- What the firmware makes of it ----------------------------------------------------


class Kept:
    """A firmware whose memory is written, as avrdude would, and that starts again."""

    def __init__(self, *, on_chip: bool) -> None:
        self.on_chip = on_chip
        self.board = Lockstep(built.emulated_chip() if on_chip else [str(built.host())])
        self.board.run(20_000)

    def write(self, blocks: dict[int, bytes]) -> None:
        for address, data in blocks.items():
            self.board.ask(f"kept {address} {data.hex()}")
        self.board.ask("reset 1")
        self.board.run(20_000)

    def told(self) -> tuple[m.Identity, list[m.ChannelPage]]:
        self.board.send(b"\0" + frame(m.encode(m.Who(), 0)))
        said = map(
            m.decode_from_stand, Deframer().feed(b"\0" + self.board.run(60_000).sent)
        )
        everything = list(said)
        pages = [one for one in everything if isinstance(one, m.ChannelPage)]
        (identity,) = [one for one in everything if isinstance(one, m.Identity)]
        return identity, pages

    def speed_counts(self, turns_half_us: int) -> int:
        self.board.ask(f"turns {turns_half_us}")
        said = Deframer().feed(b"\0" + self.board.run(60_000).sent)
        newest = [p for p in said if p[0] == m.Samples.TYPE and p[3] == 0][-1]
        return int.from_bytes(newest[8 + 12 : 8 + 14], "little", signed=True)


@pytest.fixture(params=["host build", "chip"])
def stand(request: pytest.FixtureRequest) -> Iterator[Kept]:
    made = Kept(on_chip=request.param == "chip")
    yield made
    made.board.close()


def as_single(scale: Scale) -> tuple[str, float, int, int]:
    """As the page of a channel has it."""
    page = m.ChannelPage(
        index=0,
        quantity=m.Quantity.FORCE,
        kind=m.Kind.POINT,
        width=4,
        counts_per_unit=scale.counts_per_unit,
        zero_counts=scale.zero_counts,
        low_counts=-1,
        high_counts=1,
        gain_u_ppm=scale.gain_u_ppm,
        delay_us=0,
        name=scale.channel,
    )
    return shown(page)


def shown(page: m.ChannelPage) -> tuple[str, float, int, int]:
    again = m.decode_from_stand(m.encode(page, 0))
    assert isinstance(again, m.ChannelPage)
    return again.name, again.counts_per_unit, again.zero_counts, again.gain_u_ppm


def test_an_empty_memory_and_the_template_say_the_same(stand: Kept) -> None:
    """The nominal scales of both languages, and that nobody knows how good they are."""
    expected = [as_single(scale) for scale in scales(read_constants(TEMPLATE))]
    assert [shown(page) for page in stand.told()[1]] == expected
    stand.write(kept(read_constants(TEMPLATE)))
    assert [shown(page) for page in stand.told()[1]] == expected
    measured = {"current", "current-high", "voltage", "voltage-low", "power", "thrust"}
    assert {name for name, *_, u in expected if u == NOT_KNOWN} == measured


@pytest.mark.parametrize("text", [WORKED, MEASURED])
def test_the_stand_says_what_the_file_said(
    stand: Kept, text: str, tmp_path: Path
) -> None:
    before = stand.told()[0]
    blocks = worked(tmp_path, text)
    stand.write(blocks)
    identity, pages = stand.told()
    expected = scales(read_constants(tmp_path / "constants.toml"))
    assert [shown(page) for page in pages] == [as_single(scale) for scale in expected]
    assert identity.boot == before.boot + 1
    assert identity.stand_id == (0x0A17 if KEPT_ID in blocks else before.stand_id)


def test_six_pulses_a_turn_are_one_turn(stand: Kept, tmp_path: Path) -> None:
    """Twelve poles: 1000 pulses a second are 166.7 turns, at 2 counts a rad/s."""
    stand.write(worked(tmp_path))
    expected = 2.0 * 2.0 * math.pi * 1000.0 / 6.0
    assert stand.speed_counts(2000) == pytest.approx(expected, rel=LATE)


def test_damaged_constants_are_none(stand: Kept, tmp_path: Path) -> None:
    """Whatever byte is damaged, the nominal scales are taken, as not known."""
    stand.write(kept(nominal()))
    expected = stand.told()[1]
    whole = worked(tmp_path)[KEPT_CONSTANTS]
    step = 10 if stand.on_chip else 1  # that one takes its time
    for at in [*range(0, len(whole), step), len(whole) - 1]:
        damaged = bytearray(whole)
        damaged[at] ^= 1 << at % 8
        stand.write({KEPT_CONSTANTS: bytes(damaged)})
        assert stand.told()[1] == expected, at


def test_whole_ones_that_make_no_sense_are_none(stand: Kept) -> None:
    """A right CRC over no pulse a turn, a scale that is no number, or a zero that the
    converter never reads: the supply would be seen off at any voltage."""
    stand.write(kept(nominal()))
    expected = stand.told()[1]
    right = kept(nominal())[KEPT_CONSTANTS][:-2]
    zero_at = 2 + 2 * 12 + 4  # of the voltage
    zeros = ((zero_at, zero.to_bytes(4, "little")) for zero in (1 << 31, 70_000))
    other = ((1, b"\0"), (2, b"\0\0\0\0"), (2, b"\0\0\xc0\x7f"), (0, b"\2"))
    for at, data in (*other, *zeros):
        body = right[:at] + data + right[at + len(data) :]
        stand.write({KEPT_CONSTANTS: body + crc16(body).to_bytes(2, "big")})
        assert stand.told()[1] == expected
        assert stand.speed_counts(2000) == pytest.approx(4000 * math.pi, rel=LATE)
