"""One capture asked of a stand, in virtual time: taken, refused, cut on its way."""

from collections.abc import Callable, Iterable

import pytest

from daq.errors import InputFault, StandFault
from daq.link import messages as m
from daq.link import session as s
from daq.link.bursts import Captured, NoTrigger
from daq.link.framing import Deframer, frame
from daq.stand.device import Device
from daq.stand.plant.bench import Plant
from daq.stand.plant.truth import shipped_truth
from tests.contract.stranger_stand import StrangerStand
from ui.capturing import Capturing, Wish

AT_ONCE = Wish("voltage", m.Trigger.AT_ONCE, 0.0, 200, 0, 0.0, 1.0)


class Stand:
    """A stand on a line that a test can cut into, and a clock of its own."""

    def __init__(
        self,
        feed: Callable[[bytes], None],
        advance: Callable[[int], bytes],
        lose: Callable[[bytes], bool] = lambda _: False,
    ) -> None:
        self.feed, self.advance, self.lose = feed, advance, lose
        self.session, self.now_s = s.Session(), 50.0
        self.session.identify(self.now_s)
        self._line = Deframer()

    def heard(self) -> bytes:
        """What gets through of what it says in a millisecond."""
        payloads = self._line.feed(self.advance(1))
        return b"".join(frame(p) for p in payloads if not self.lose(p))

    def take(
        self, wish: Wish, hands: Iterable[tuple[int, Callable[[], None]]] = ()
    ) -> Captured | NoTrigger:
        """The result of a capture; at some milliseconds a hand does something."""
        taking, doing = Capturing(wish, 77), dict(hands)
        for ms in range(20_000):
            self.now_s += 1e-3
            doing.get(ms, lambda: None)()
            write, happenings = self.session.poll(self.now_s)
            happenings += self.session.receive(self.heard(), self.now_s)
            self.feed(write)
            for happening in happenings:
                command = taking.hear(happening, self.session, self.now_s)
                if command is not None:
                    self.feed(self.session.send(command, self.now_s))
            taking.look(self.now_s)
            if taking.result is not None:
                return taking.result
        raise AssertionError("it never ends")


def simulated(lose: Callable[[bytes], bool] = lambda _: False) -> tuple[Stand, Device]:
    device = Device(Plant(shipped_truth(), 1))
    return Stand(device.receive, device.advance, lose), device


def stranger(*, captures: bool = True) -> Stand:
    made = StrangerStand(captures=captures)
    return Stand(made.feed, made.advance)


def test_at_once_brings_what_the_channel_is_at() -> None:
    stand, device = simulated()
    got = stand.take(AT_ONCE)
    assert isinstance(got, Captured)
    assert len(got.counts) == 200
    assert not got.lost
    assert got.period_s == pytest.approx(1e-5)  # as short as can be
    bus_v = device.plant.state.bus_v  # type: ignore[attr-defined]
    counts = [count for count in got.counts if count is not None]
    mean_v = sum(counts) / len(counts) / got.channel.counts_per_unit
    assert mean_v == pytest.approx(bus_v, rel=0.03)


def test_it_works_with_a_stand_written_by_strangers() -> None:
    got = stranger().take(AT_ONCE)
    assert isinstance(got, Captured)
    assert got.channel.name == "voltage"


def test_a_fall_is_caught_when_the_plug_comes_out() -> None:
    stand, device = simulated()
    wish = Wish("voltage", m.Trigger.FALLING, 6.0, 100, 40, 0.0, 5.0)
    plug = lambda: setattr(device.plant, "plug_in", False)  # noqa: E731
    got = stand.take(wish, [(700, plug)])
    assert isinstance(got, Captured)
    assert got.trigger == 40
    volts = [got.channel.to_si(count) for count in got.counts if count is not None]
    assert volts[39] > 6.0 - got.step_si
    assert volts[40] <= 6.0 + got.step_si


def test_no_trigger_is_told_as_such() -> None:
    stand, _ = simulated()
    wish = Wish("current", m.Trigger.RISING, 20.0, 100, 0, 0.0, 0.2)
    assert isinstance(stand.take(wish), NoTrigger)


def test_blocks_that_are_lost_leave_holes_and_it_still_ends() -> None:
    blocks = []

    def lose(payload: bytes) -> bool:
        if payload[0] == m.Burst.TYPE:
            blocks.append(payload)
        return payload[0] == m.Burst.TYPE and len(blocks) in (2, 5)

    stand, _ = simulated(lose)
    got = stand.take(AT_ONCE)
    assert isinstance(got, Captured)
    assert got.lost == ((39, 77), (156, 194))
    assert got.counts[39] is None
    assert got.counts[78] is not None


def test_when_no_block_comes_it_says_so() -> None:
    stand, _ = simulated(lambda payload: payload[0] == m.Burst.TYPE)
    with pytest.raises(StandFault, match="not one block"):
        stand.take(AT_ONCE)


def test_when_no_reply_comes_it_says_so() -> None:
    told = (m.Burst.TYPE, m.Reply.TYPE)
    stand, _ = simulated(lambda payload: payload[0] in told)
    with pytest.raises(StandFault, match="did not answer"):
        stand.take(AT_ONCE)


def test_a_stand_without_the_ability_is_not_asked() -> None:
    with pytest.raises(StandFault, match=r"a stranger.* has no fast capture"):
        stranger(captures=False).take(AT_ONCE)


def test_a_stand_that_may_drive_is_not_asked() -> None:
    stand, device = simulated()
    device.advance(100)
    limits = m.Limits((m.LimitEntry(1, -32_000, 32_000, 3, 50),))
    device.receive(frame(m.encode(limits, 0)))
    arm = m.Arm(5, device.boot, limits.crc, 500, device.time_us)
    device.receive(frame(m.encode(arm, 1)))
    assert device.state is m.State.ARMED
    with pytest.raises(StandFault, match="is armed"):
        stand.take(AT_ONCE)


def test_a_stand_that_does_not_tell_its_state_is_not_asked() -> None:
    told = (m.Counters.TYPE, m.Event.TYPE)
    stand, _ = simulated(lambda payload: payload[0] in told)
    with pytest.raises(StandFault, match="what state it is in"):
        stand.take(AT_ONCE)


def test_a_restart_in_the_middle_is_told() -> None:
    stand, device = simulated()
    wish = Wish("current", m.Trigger.RISING, 20.0, 100, 0, 0.0, 5.0)
    reset = lambda: device.reset(m.Cause.WATCHDOG)  # noqa: E731
    with pytest.raises(StandFault, match="started again"):
        stand.take(wish, [(900, reset)])


@pytest.mark.parametrize(
    ("channel", "level", "says"),
    [
        ("airspeed", 0.0, "this stand has thrust, current"),
        ("voltage", 90.0, "never reached: this stand's voltage tells"),
    ],
)
def test_what_the_stand_has_not_is_said_with_what_it_has(
    channel: str, level: float, says: str
) -> None:
    stand, _ = simulated()
    wish = Wish(channel, m.Trigger.RISING, level, 100, 0, 0.0, 1.0)
    with pytest.raises(InputFault, match=says):
        stand.take(wish)


def test_a_channel_that_cannot_be_captured_is_refused_by_the_stand() -> None:
    stand, _ = simulated()
    with pytest.raises(StandFault, match="no fast capture of its channel thrust"):
        stand.take(Wish("thrust", m.Trigger.AT_ONCE, 0.0, 100, 0, 0.0, 1.0))
