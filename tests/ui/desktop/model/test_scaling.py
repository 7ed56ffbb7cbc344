"""A calibration walked in the window's model, in virtual time."""

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from pathlib import Path

import pytest

from daq.calibration.standards import masses_of
from daq.calibration.text import named, to_text
from daq.link import session as s
from daq.records.kept import keep
from daq.stand.device import TICK_S
from daq.stand.faults.stand import FaultyStand
from daq.stand.plant.bench import Plant
from daq.stand.plant.noise import Stream
from daq.stand.plant.sensors import true_gain
from daq.stand.plant.truth import shipped_truth
from tests.daq.calibration.invented import Cell, club_masses
from tests.daq.calibration.invented import made as made_of
from ui.desktop.model.scaling import Scaling, channels_of, kept_of

TICKS = 20


@dataclass
class Room:
    """The model, a stand, and what passes between them."""

    stand: FaultyStand = field(
        default_factory=lambda: FaultyStand(
            Plant(shipped_truth(), 1, plug_in=False), seed=1
        )
    )
    session: s.Session = field(default_factory=s.Session)
    scaling: Scaling = field(
        default_factory=lambda: Scaling(lambda: datetime(2026, 5, 9, tzinfo=UTC))
    )
    known: s.Stand | None = None
    now_s: float = 100.0

    def __post_init__(self) -> None:
        self.session.identify(self.now_s)
        assert self.until(lambda: self.known is not None, 5.0)

    def pass_time(self) -> None:
        write, happenings = self.session.poll(self.now_s)
        self.stand.receive(write)
        said = self.stand.advance(TICKS)
        self.now_s += TICKS * TICK_S
        for happening in (*happenings, *self.session.receive(said, self.now_s)):
            if isinstance(happening, s.Identified):
                self.known = happening.stand
            self.scaling.hear(happening, self.now_s)
        self.scaling.step(self.now_s)

    def until(self, so: Callable[[], bool], seconds: float) -> bool:
        end_s = self.now_s + seconds
        while not so() and self.now_s < end_s:
            self.pass_time()
        return so()

    def begin(self, channel: str = "thrust", **how: object) -> None:
        assert self.known is not None
        self.scaling.begin(channel, stand=self.known, **how)  # type: ignore[arg-type]
        self.until(lambda: bool(self.scaling.model and self.scaling.model.hears), 2.0)

    def place(self, load_n: float) -> None:
        self.stand.bench.placed_load_n = load_n

    def take(self) -> None:
        self.scaling.take(self.now_s)
        model = self.scaling.model
        assert model is not None
        assert self.until(lambda: not model.taking, 90.0)


@pytest.fixture(autouse=True)
def shelf(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("GRAMWATT_DATA", str(tmp_path))
    return tmp_path


def test_a_whole_calibration_is_kept_and_told(shelf: Path) -> None:
    room = Room()
    assert kept_of(room.known, "mine") == [
        (channel, "nominal, not calibrated")
        for channel in ("thrust", "current", "voltage")
    ]
    # Somebody had masses on the thrust axis once, where no lever is in doubt.
    better = made_of(Cell(), masses_of(club_masses(lever=None, on_axis=True)))
    subject = replace(better.subject, specimen="mine")
    better = named(replace(better, subject=subject, made_utc="2026-04-01T00:00:00Z"))
    keep(better.id, to_text(better))
    room.begin(place=room.place, specimen="mine")
    assert room.scaling.words() == (
        "Step 1 of 34",
        "Take everything off: nothing on it.",
    )
    assert "hands are at the propeller" in room.scaling.caution
    while room.scaling.model is not None:
        room.take()
        assert not room.scaling.fault, room.scaling.fault
    made = room.scaling.made
    assert made is not None
    true = room.stand.bench.true_counts_per_unit["thrust"]
    assert 1.0 / made.slope_si == pytest.approx(true, rel=1e-3)
    assert made.subject.simulated
    told = dict(room.scaling.told())
    assert "known to" in told
    assert f"The one before it, {better.id}, was known to" in told["caution"]
    assert list(shelf.rglob(f"{made.id}.json"))
    assert kept_of(room.known, "mine")[0][1].startswith("calibrated 2026-05-09")


def test_what_was_read_can_be_taken_back_and_is_kept_when_given_up(
    shelf: Path,
) -> None:
    room = Room()
    room.begin(place=room.place)
    for _ in range(3):
        room.take()
    rows = room.scaling.rows()
    assert [row[:2] for row in rows] == [
        ("3", "70 g"),
        ("2", "20 g"),
        ("1", "nothing on it"),
    ]
    assert rows[-1][2] == "0.00 gf"
    assert float(rows[0][2].removesuffix(" gf")) == pytest.approx(70.0, rel=0.03)
    room.scaling.undo()
    assert len(room.scaling.rows()) == 2
    assert room.scaling.words()[0] == "Step 3 of 34"
    said = room.scaling.leave()
    assert "kept in" in said
    assert room.scaling.model is None
    assert list(shelf.rglob("thrust*.json"))
    assert room.scaling.leave() == ""


def test_it_shows_what_it_reads_from_zero_and_whether_that_is_steady() -> None:
    room = Room()
    assert room.scaling.reads(room.now_s) == ("", "")
    room.begin(place=room.place)
    room.take()
    room.until(lambda: False, 3.0)  # what was set down comes to rest
    assert room.until(lambda: "steady" in room.scaling.reads(room.now_s)[1], 10.0)
    value, words = room.scaling.reads(room.now_s)
    assert value.endswith("gf")
    assert float(value.split()[0]) == pytest.approx(20.0, rel=0.1)
    assert "counts" in words


def test_nothing_is_read_while_the_supply_is_on() -> None:
    room = Room()
    room.begin(place=room.place)
    room.stand.plug_in = True
    assert room.until(
        lambda: bool(room.scaling.model and room.scaling.model.blocked), 3
    )
    room.scaling.take(room.now_s)
    assert "supply is on" in room.scaling.fault
    assert not room.scaling.rows()


def test_a_real_stand_needs_its_masses_named_and_a_wrong_file_is_a_sentence(
    tmp_path: Path,
) -> None:
    room = Room()
    room.begin()
    assert "choose the file" in room.scaling.fault
    wrong = tmp_path / "masses.toml"
    wrong.write_text("format = 9\n", encoding="utf-8")
    room.begin(standards=wrong)
    assert "masses.toml" in room.scaling.fault


def test_a_meter_is_asked_for_what_it_reads() -> None:
    room = Room()
    room.begin("voltage", meter="0.5% + 2 x 0.01")
    assert room.scaling.model is not None
    typing = [room.scaling.needs_typing]
    room.take()
    typing.append(room.scaling.needs_typing)
    assert typing == [False, True]  # its zero first
    room.scaling.take(room.now_s)
    assert "Type what the meter reads" in room.scaling.fault
    room.begin("voltage", meter="about right")
    assert room.scaling.fault
    assert room.scaling.words() == ("", "")


def rough() -> Room:
    plant = Plant(shipped_truth("rough"), 1, plug_in=False)
    return Room(FaultyStand(plant, seed=1))


def test_only_what_the_stand_reads_is_offered() -> None:
    usual = ["thrust", "current", "voltage"]
    assert channels_of(None) == usual
    assert channels_of(Room().known) == usual
    assert channels_of(rough().known) == [*usual, "plug-plus", "plug-minus"]


def test_an_amplifier_of_the_plug_is_calibrated_by_millivolt_that_are_typed() -> None:
    room = rough()
    plug = room.stand.bench.plug
    assert plug is not None
    room.begin("plug-plus", meter="0.5% + 2 x 0.01")
    room.take()
    for current_a in (1.0, 3.0, 5.0, 7.5, 10.0, 12.0):
        plug.looped_a = current_a
        true_mv = 1e3 * current_a * plug.between_ohm("plus")
        if current_a == 5.0:
            room.scaling.take(room.now_s, 1e-3 * true_mv)
            assert "is that in mV?" in room.scaling.fault
        room.scaling.take(room.now_s, true_mv)
        model = room.scaling.model
        if model is not None:
            assert room.until(lambda model=model: not model.taking, 90.0)  # type: ignore[misc]
        if room.scaling.model is not None:
            assert room.scaling.rows()[0][1].endswith(" mV")
    made = room.scaling.made
    assert made is not None, room.scaling.fault
    assert made.subject.unit == "V"
    true = 400_000.0 * (1.0 + gain_error())
    assert 1.0 / made.coefficients[1] == pytest.approx(true, rel=2e-4)
    assert dict(room.scaling.told())["range"].startswith("0 mV to 40 mV")


def gain_error() -> float:
    """The true gain of the plus pole's amplifier, by the plant's own draw."""
    truth = shipped_truth("rough").plug_sense
    assert truth is not None
    return true_gain(truth, 1, Stream.PLUG_PLUS_GAIN) / 400_000.0 - 1.0


def test_on_a_simulated_stand_only_masses_can_be_set_down_here() -> None:
    room = Room()
    room.begin("current", place=room.place, meter="1%")
    assert "gramwatt calibrate --simulated current" in room.scaling.fault


def test_a_stand_that_begins_anew_ends_it() -> None:
    from daq.link import messages as m

    room = Room()
    room.begin(place=room.place)
    room.take()
    room.stand.reset(m.Cause.POWER_ON)
    assert room.until(lambda: room.scaling.model is None, 10.0)
    assert "restarted" in room.scaling.fault
