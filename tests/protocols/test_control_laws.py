"""What must hold whatever happens: a stand that lies, a host that freezes.

A puppet stand says anything at any phase; a simulated one meets a bad cable,
resets and a client that goes. Neither may make the control raise, speak
throttle outside the armed spell, or decide otherwise when replayed.
"""

import json
import math
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import NamedTuple

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from typing_extensions import override

from daq.errors import InputFault
from daq.link import messages as m
from daq.link.framing import Deframer, frame
from daq.link.session import Session
from daq.records.wirelog import Kind, Record, to_json
from daq.stand.device import ZERO_PULSE_S, Device
from daq.stand.plant.bench import Plant
from daq.stand.plant.truth import shipped_truth
from protocols.control import Control
from protocols.keeper import give
from protocols.limits import Limit
from protocols.phases import ON_TRIAL, OVER, Phase
from protocols.plan import Plan, Segment
from protocols.proof.exercises import RAISED
from protocols.task import Task
from tests.spins import LIMITS, NONCE, spin, task
from tests.virtual import START_NS, VirtualSpin

MS_NS = 1_000_000
TICKS_MAX = 400  # ticks in a row that may fall due within one wait
BOOT = 7
SLACK_US = 5_000  # a servo frame, and a millisecond either side
QUICK = Plan(
    "quick",
    "Up and down again",
    (
        Segment("rest", "rest", -1, 0.0, 0.0, 0.1),
        Segment("ramp", "up", 0, 0.0, 0.3, 0.2),
        Segment("dwell", "up", 0, 0.3, 0.3, 0.4),
        Segment("ramp", "rest", -1, 0.3, 0.0, 0.2),
        Segment("rest", "rest", -1, 0.0, 0.0, 0.1),
    ),
)
TASK = Task(QUICK, LIMITS, NONCE)


class Channel(NamedTuple):
    """What a puppet's channel differs in."""

    name: str
    quantity: m.Quantity
    counts_per_unit: float
    rests_at: int


GOOD = (
    Channel("thrust", m.Quantity.FORCE, 1000.0, 50),
    Channel("current", m.Quantity.CURRENT, 1000.0, 20),
    Channel("voltage", m.Quantity.VOLTAGE, 1000.0, 12_000),
)


def page(index: int, channel: Channel) -> m.ChannelPage:
    """A channel's page."""
    return m.ChannelPage(
        index=index,
        quantity=channel.quantity,
        kind=m.Kind.POINT,
        width=4,
        counts_per_unit=channel.counts_per_unit,
        zero_counts=0,
        low_counts=-2_000_000_000,
        high_counts=2_000_000_000,
        gain_u_ppm=m.NOT_KNOWN_PPM,
        delay_us=0,
        name=channel.name,
    )


# ------------------------------------------------------------------- the laws


@dataclass
class Laws:
    """Reads everything that the control lets out, and knows what must not be.

    Attributes:
        control: whose words these are.
        sent: every command so far.
        spoilt: frames that the proof damaged on purpose.
        went: whether a person has said go.
        granted: whether the stand has said that it is armed since it was asked.
        over: whether a stop that is not the proof's was ever said.
    """

    control: Control
    sent: list[m.ToStand] = field(default_factory=list)
    spoilt: int = 0
    went: bool = False
    granted: bool = False
    over: bool = False
    deframer: Deframer = field(default_factory=Deframer)

    def heard(self, message: m.FromStand | m.Unknown) -> None:
        """The stand says this."""
        asked = any(isinstance(c, m.Arm | m.Prove) for c in self.sent)
        done = (
            isinstance(message, m.Reply)
            and message.verdict is m.Verdict.DONE
            and message.to_type in (m.Arm.TYPE, m.Prove.TYPE)
        )
        told = isinstance(message, m.Event | m.Counters) and message.state in (
            m.State.PROVING,
            m.State.ARMED,
            m.State.SPINNING,
        )
        self.granted |= asked and (done or told)

    def wrote(self, write: bytes) -> None:
        """These bytes go to the stand."""
        phase = self.control.phase
        for payload in self.deframer.feed(write):
            command = m.decode_to_stand(payload)
            assert not isinstance(command, m.Unknown)
            self._judge(command, phase)
            self.sent.append(command)
        spoilt = self.deframer.drops.frames - self.spoilt
        self.spoilt += spoilt
        assert not spoilt or phase in ON_TRIAL

    def _judge(self, command: m.ToStand, phase: Phase) -> None:
        if self.over:
            # A restarted stand is asked who it is; nothing else.
            assert isinstance(command, m.Stop | m.Who)
        # What is written belongs to the phase that the step led to.
        if phase in OVER and isinstance(command, m.Stop):
            self.over = True
        if isinstance(command, m.Arm | m.Prove):
            assert any(isinstance(c, m.Limits) for c in self.sent)
        if isinstance(command, m.Arm) and command.nonce == NONCE:
            assert self.went
            assert not any(isinstance(c, m.Arm) and c.nonce == NONCE for c in self.sent)
        if isinstance(command, m.Throttle):
            assert self.granted
            self._judge_throttle(command)

    def _judge_throttle(self, command: m.Throttle) -> None:
        grants = [c for c in self.sent if isinstance(c, m.Arm | m.Prove)]
        if isinstance(grants[-1], m.Prove):
            assert command.setpoint <= RAISED
            return
        assert command.setpoint <= 10_000 * QUICK.max_throttle_frac
        assert self.went or command.setpoint == 0


@dataclass
class Puppet:
    """A control on strings: every input goes through the keeper's own door."""

    control: Control
    laws: Laws = field(init=False)
    records: list[Record] = field(default_factory=list)
    kept: list[Record] = field(default_factory=list)
    now_ns: int = START_NS
    sequence: int = 0
    host_sequence: int = -1
    read_to: int = 0
    state: m.State = m.State.LOCKED
    events: int = 1
    held: m.Throttle | m.Arm | None = None
    held_ns: int = 0

    def __post_init__(self) -> None:
        self.laws = Laws(self.control)

    def feed(self, kind: Kind, data: bytes = b"") -> None:
        outputs = give(self.control, kind, self.now_ns, data)
        for write in outputs.writes:
            self.laws.wrote(write)
            self.host_sequence += write.count(b"\0") // 2  # one before, one after
        fresh = [
            Record(kind, self.now_ns, data),
            *outputs_of(outputs.writes, outputs.notes, self.now_ns),
        ]
        self.records += fresh
        if kind is not Kind.TICK or outputs:
            self.kept += fresh

    def wait(self, wait_ms: int) -> None:
        """Time passes and the keeper ticks at every deadline."""
        end_ns = self.now_ns + wait_ms * MS_NS
        for _ in range(TICKS_MAX):
            due_s = self.control.deadline_s
            if self.control.phase is Phase.ENDED or due_s * 1e9 > end_ns:
                break
            self.now_ns = max(self.now_ns + 1, int(due_s * 1e9) + 1)
            self.feed(Kind.TICK)
        else:
            raise AssertionError("the control asks to be woken without end")
        self.now_ns = max(self.now_ns, end_ns)

    def say(self, *messages: m.FromStand) -> None:
        """The stand says this, whole."""
        data = b""
        for message in messages:
            self.laws.heard(message)
            data += frame(m.encode(message, self.sequence))
            self.sequence += 1
        self.feed(Kind.BYTES_IN, data)

    def order(self, order: object) -> None:
        if isinstance(order, dict) and order.get("order") == "go":
            self.laws.went = True
        self.feed(Kind.ORDER, json.dumps(order).encode())

    @property
    def time_us(self) -> int:
        return (self.now_ns - START_NS) // 1000 % 2**32

    # ----------------------------------------------- a stand that behaves

    def introduce(self, channels: tuple[Channel, ...] = GOOD) -> None:
        abilities = m.Ability.LEASE | m.Ability.LIMITS
        count = len(channels)
        every = tuple(range(count)) or (0,)
        self.say(
            m.Identity(1, 0, 1, BOOT, 1, abilities, count, 1, "puppet"),
            *(page(i, channel) for i, channel in enumerate(channels)),
            m.StreamPage(0, 10_000, every),
        )
        self.tell(m.State.LOCKED)

    def tell(self, state: m.State, boot: int = BOOT) -> None:
        self.say(m.Counters(self.time_us, boot, state, 0, 1, 0, 0, 0, 0, 0, 0))

    def sample(self, channels: tuple[Channel, ...] = GOOD) -> None:
        raw = b"".join(c.rests_at.to_bytes(4, "little", signed=True) for c in channels)
        self.say(m.Samples(0, self.time_us, raw))

    def answer(self, verdict: m.Verdict = m.Verdict.DONE) -> None:
        """Answer the newest command."""
        command = self.laws.sent[-1]
        value = command.crc if isinstance(command, m.Limits) else 0
        to = self.host_sequence & 0xFFFF
        self.say(m.Reply(command.TYPE, to, verdict, value, self.time_us))

    def live(self, spell_ms: int) -> None:
        """A healthy stand and a healthy client for so long."""
        for _ in range(0, spell_ms, 20):
            self.wait(20)
            self.sample()
            self.order({"order": "beat"})

    # ------------------------------------- a stand that does as it is told

    def tell_event(self, state: m.State, cause: m.Cause, channel: int = m.NONE) -> None:
        self.state, self.events = state, self.events + 1
        latch = self.events if cause.latches else 0
        now_us, limit = self.time_us, 0 if channel != m.NONE else m.NONE
        self.say(
            m.Event(
                now_us, BOOT, self.events, state, cause, latch, limit, channel, 0, 0
            )
        )

    def oblige(self, until: Phase) -> None:
        """Answer, arm, trip and clear as a good stand does, until that phase."""
        for _ in range(4000):
            while self.read_to < len(self.laws.sent):
                if self.control.phase is until:
                    return
                self.read_to += 1
                self._do(self.laws.sent[self.read_to - 1])
            lease_ns = round(QUICK.lease_s * 1e9)
            if self.state is m.State.ARMED and self.now_ns - self.held_ns > lease_ns:
                self.tell_event(m.State.TRIPPED, m.Cause.LEASE_ENDED)
            self.wait(4)
            drawn = 0
            if self.state is m.State.ARMED and isinstance(self.held, m.Throttle):
                drawn = self.held.setpoint
            one = GOOD[1]._replace(rests_at=GOOD[1].rests_at + drawn)
            self.sample((GOOD[0], one, GOOD[2]))
            self.order({"order": "beat"})
            if self.control.phase is until:
                return
        raise AssertionError(f"never came to {until}, but to {self.control.phase}")

    def _do(self, command: m.ToStand) -> None:
        match command:
            case m.Limits():
                self.reply_to(command, value=command.crc)
                for entry in command.entries if self.state is m.State.ARMED else ():
                    rests_at = GOOD[entry.channel].rests_at
                    if not entry.low <= rests_at <= entry.high:
                        self.tell_event(m.State.TRIPPED, m.Cause.LIMIT, entry.channel)
                        break
            case m.Arm():
                if self.state is m.State.LOCKED:
                    self.held, self.held_ns = command, self.now_ns
                    self.tell_event(m.State.ARMED, m.Cause.ARMED)
                    self.reply_to(command)
                else:
                    self.reply_to(command, m.Verdict.WRONG_STATE)
            case m.Throttle() if self.state is m.State.ARMED:
                self.held, self.held_ns = command, self.now_ns
            case m.Stop():
                if self.state is not m.State.TRIPPED:
                    self.tell_event(m.State.TRIPPED, m.Cause.STOP)
                self.reply_to(command)
            case m.Acknowledge():
                self.tell_event(m.State.LOCKED, m.Cause.ACKNOWLEDGED)
                self.reply_to(command)
            case _:
                pass

    def reply_to(
        self,
        command: m.ToStand,
        verdict: m.Verdict = m.Verdict.DONE,
        value: int = 0,
    ) -> None:
        session = self.control.session
        assert isinstance(session, Session)
        awaited = session._awaited
        to = next((n for n, (c, _, _) in awaited.items() if c is command), None)
        if to is None:
            to = next((n for n, (c, _, _) in awaited.items() if c == command), 0)
        self.say(m.Reply(command.TYPE, to, verdict, value, self.time_us))

    def climb(self, rungs: int) -> None:
        """Bring a spin up to one of its phases, honestly."""
        ladder: list[Callable[[], None]] = [
            self.introduce,
            lambda: self.live(520),  # heard; zeroing
            lambda: self.live(1600),  # zeroed; the proof has begun
            lambda: self.oblige(Phase.LIMITING),
            lambda: self.oblige(Phase.READY),
            lambda: self.order({"order": "go"}),
            lambda: self.oblige(Phase.ARMING),
            self.answer,
            lambda: self.live(400),
            lambda: self.live(620),  # the plan is over; lock is sent
            lambda: self.order({"order": "stop"}),
        ]
        self.feed(Kind.TICK)
        for rung in ladder[:rungs]:
            rung()

    def finish(self) -> None:
        """A person stops it; whatever came before, that ends it."""
        self.order({"order": "stop"})
        self.wait(4000)
        assert self.control.phase is Phase.ENDED
        assert self.control.outcome is not None


def outputs_of(
    writes: list[bytes], notes: list[dict[str, object]], time_ns: int
) -> list[Record]:
    """The records that the keeper makes of what came out."""
    return [
        *(Record(Kind.BYTES_OUT, time_ns, write) for write in writes),
        *(Record(Kind.NOTE, time_ns, to_json(note)) for note in notes),
    ]


def assert_replays(records: list[Record], wanted: Task) -> None:
    """A fresh control makes the same of the same."""
    control = Control(Task.from_dict(wanted.to_dict()), "test port")
    again: list[Record] = []
    for record in records:
        if record.kind in (Kind.BYTES_IN, Kind.ORDER, Kind.LOST, Kind.TICK):
            out = give(control, record.kind, record.time_ns, record.data)
            again.append(record)
            again += outputs_of(out.writes, out.notes, record.time_ns)
    assert again == records


# ----------------------------------------------------------- what may be said

u8, u16, u32 = (st.integers(0, 2**bits - 1) for bits in (8, 16, 32))
i32 = st.integers(-(2**31), 2**31 - 1)
boots = st.one_of(st.just(BOOT), u16)
names = st.sampled_from(("current", "voltage", "thrust", "speed", "", "x"))
floats32 = st.floats(width=32, allow_nan=False, allow_infinity=False)
states, causes = st.sampled_from([x for x in m.State if x]), st.sampled_from(m.Cause)
throttles = st.integers(0, m.THROTTLE_FULL)
abilities = st.integers(0, 0xFFFF).map(m.Ability)
sequences = st.one_of(st.integers(0, 200), u16)


@st.composite
def pages(draw: st.DrawFn) -> m.ChannelPage:
    """Any channel that the wire can carry."""
    width = draw(st.sampled_from((2, 4)))
    top = 2 ** (8 * width - 1) - 1
    low, high = sorted((draw(st.integers(-top, top - 1)), top))
    return m.ChannelPage(
        index=draw(st.one_of(st.integers(0, 5), st.integers(0, 63))),
        quantity=draw(st.sampled_from(m.Quantity)),
        kind=draw(st.sampled_from(m.Kind)),
        width=width,
        counts_per_unit=draw(floats32.filter(bool)),
        zero_counts=draw(i32),
        low_counts=low,
        high_counts=high,
        gain_u_ppm=draw(u32),
        delay_us=draw(u16),
        name=draw(names),
    )


sayings: st.SearchStrategy[m.FromStand] = st.one_of(
    st.builds(
        m.Identity, u8, u8, u8, boots, u32, abilities, st.integers(0, 6), u8, names
    ),
    pages(),
    st.builds(
        m.StreamPage,
        st.integers(0, 3),
        st.integers(1, 2**32 - 1),
        st.lists(u8, min_size=1, max_size=8).map(tuple),
    ),
    st.builds(m.Samples, st.integers(0, 3), u32, st.binary(max_size=20)),
    st.builds(m.Event, u32, boots, u16, states, causes, u16, u8, u8, i32, throttles),
    st.builds(
        m.Reply,
        st.integers(0x41, 0x49),
        sequences,
        st.sampled_from(m.Verdict),
        u32,
        u32,
    ),
    st.builds(m.Counters, u32, boots, states, u16, u16, throttles, *(u16,) * 5),
    st.builds(
        m.Burst,
        u8,
        st.integers(0, 3),
        st.just(0),
        st.just(40),
        st.integers(0, 39),
        u32,
        st.integers(1, 2**32 - 1),
        i32,
        st.integers(1, 0xFFFF),
        st.binary(min_size=1, max_size=39),
    ),
)
words = st.sampled_from(("beat", "go", "acknowledge", "record lost", "stop", "faster"))
scalars = st.none() | st.booleans() | st.floats() | st.text(max_size=5)
values = scalars | st.lists(scalars, max_size=2)
orders = st.one_of(
    st.builds(lambda word: {"order": word}, words),
    st.dictionaries(st.sampled_from(("order", "why")), values, max_size=2),
    values,
)
Act = Callable[[Puppet], None]


def _late(late_ms: int) -> Act:
    def act(puppet: Puppet) -> None:
        puppet.now_ns += late_ms * MS_NS  # the host froze: nothing ticked
        puppet.feed(Kind.TICK)

    return act


acts: st.SearchStrategy[Act] = st.one_of(
    st.integers(0, 400).map(lambda ms: lambda p: p.wait(ms)),
    st.integers(0, 3000).map(_late),
    st.binary(max_size=80).map(lambda data: lambda p: p.feed(Kind.BYTES_IN, data)),
    st.lists(sayings, min_size=1, max_size=4).map(lambda all_: lambda p: p.say(*all_)),
    st.sampled_from([x for x in m.State if x]).map(
        lambda state: lambda p: p.tell(state)
    ),
    st.sampled_from(m.Verdict).map(lambda verdict: lambda p: p.answer(verdict)),
    orders.map(lambda order: lambda p: p.order(order)),
    st.binary(max_size=10).map(lambda data: lambda p: p.feed(Kind.ORDER, data)),
    st.just(lambda p: p.live(100)),
    st.just(lambda p: p.feed(Kind.LOST, b"\xff gone")),
)


@given(rungs=st.integers(0, 11), doings=st.lists(acts, max_size=12))
def test_whatever_a_stand_says_and_a_client_asks(rungs: int, doings: list[Act]) -> None:
    puppet = Puppet(Control(TASK, "test port"))
    puppet.climb(rungs)
    for act in doings:
        act(puppet)
    puppet.finish()
    assert_replays(puppet.records, TASK)


channels = st.builds(
    Channel,
    names,
    st.sampled_from(m.Quantity),
    floats32.filter(lambda counts: 0 < abs(counts) < 1e8),
    i32,
)


@given(
    extra=st.lists(channels, max_size=5),
    fixed=st.sampled_from(((), GOOD)),
    streams=st.lists(st.lists(u8, min_size=1, max_size=8), max_size=3),
    limit=st.sampled_from(("speed", "x", "thrust")),
)
def test_whatever_a_stand_says_it_is(
    extra: list[Channel],
    fixed: tuple[Channel, ...],
    streams: list[list[int]],
    limit: str,
) -> None:
    others = tuple(one for one in LIMITS if one.channel != limit)
    odd = Limit(limit, float("-inf"), 1e30, 1, 2.55, "odd")
    puppet = Puppet(Control(Task(QUICK, (*others, odd), NONCE), "test port"))
    all_ = (*fixed, *extra)
    puppet.feed(Kind.TICK)
    for index, members in enumerate(streams):
        puppet.say(m.StreamPage(index, 1, tuple(members)))
    puppet.introduce(all_)
    for _ in range(110):
        puppet.wait(20)
        puppet.sample(all_)
    if puppet.control.phase is Phase.PROVING:
        for _ in range(4):  # through its first commands, whatever the channels
            puppet.answer()
            puppet.sample(all_)
            puppet.wait(50)
    puppet.finish()


class Spin(VirtualSpin):
    """A virtual spin under the laws, with every tick kept."""

    laws: Laws
    heard_us: int
    sequence_before: int

    def begin(self) -> None:
        self.laws = Laws(self.control, went=True, granted=True)  # it says go itself
        self.heard_us = 0
        self.sequence_before = 0

    @override
    def _input(self, kind: Kind, data: bytes) -> None:
        before = len(self.records)
        super()._input(kind, data)
        if len(self.records) == before:
            self.records.append(Record(kind, self.host_ns, data))
        for record in self.records[before:]:
            if record.kind is Kind.BYTES_OUT:
                self.laws.wrote(record.data)

    @override
    def step(self, ticks: int = 1) -> None:
        super().step(ticks)
        device = self.device
        if device._throttle_sequence != self.sequence_before:
            self.sequence_before = device._throttle_sequence
            self.heard_us = device.time_us
        if device.pulse_s > ZERO_PULSE_S:
            lease_us = round(QUICK.lease_s * 1e6)
            assert device.time_us - self.heard_us <= lease_us + SLACK_US
            assert self.laws.sent

    def rest(self) -> None:
        """The host is done; the stand goes on alone."""
        self.cable = self.host_runs = False
        for _ in range(round(QUICK.lease_s * 1e3) + SLACK_US // 1000):
            self.step(1)


def _for(spell_s: float, name: str) -> Callable[[Spin, float], None]:
    def plan_it(run: Spin, at_s: float) -> None:
        run.at(at_s, lambda r: setattr(r, name, False))
        run.at(at_s + spell_s, lambda r: setattr(r, name, True))

    return plan_it


def _once(act: Callable[[VirtualSpin], None]) -> Callable[[Spin, float], None]:
    return lambda run, at_s: run.at(at_s, act)


def _damage(way: str, byte: int) -> Callable[[VirtualSpin], None]:
    def act(run: VirtualSpin) -> None:
        queue = getattr(run, way)
        if queue:
            when_ns, data = queue.pop()
            place = byte % len(data)
            broken = data[:place] + bytes([byte]) + data[place + 1 :]
            queue.append((when_ns, broken))

    return act


def _open_loop(run: VirtualSpin) -> None:
    run.device.stop_loop_open = True


def _pull(run: VirtualSpin) -> None:
    run.cable = False
    run._input(Kind.LOST, b"gone")


WAITS = (
    Phase.READY,
    Phase.LATCHED,
    Phase.UNPLUGGING,
    Phase.PROVING,  # for the stop loop, with no supply
    Phase.PLUGGING,
)
spells_s = st.floats(0.001, 1.5)
faults: st.SearchStrategy[Callable[[Spin, float], None]] = st.one_of(
    st.builds(_for, spells_s, st.sampled_from(("cable", "host_runs", "beats"))),
    st.builds(_damage, st.sampled_from(("to_host", "to_stand")), u8).map(_once),
    st.sampled_from([cause for cause in m.Cause if cause.is_start]).map(
        lambda cause: _once(lambda run: run.device.reset(cause))
    ),
    words.map(lambda word: _once(lambda run: run.order(order=word))),
    st.just(_once(_open_loop)),
    st.just(_once(_pull)),
)


# Anywhere, and more often while the motor turns.
moments_s = st.one_of(st.floats(0.0, 6.2), st.floats(3.5, 4.9), st.floats(4.9, 5.9))
SPINNING_S = 5.3


@pytest.mark.slow
@settings(max_examples=40)
@given(plan=st.lists(st.tuples(moments_s, faults), max_size=4))
@example(plan=[])
@example(plan=[(SPINNING_S, _for(1.5, "cable"))])
@example(plan=[(SPINNING_S, _for(1.5, "host_runs"))])
@example(plan=[(SPINNING_S, _once(_pull))])
def test_whatever_breaks_on_the_way(
    plan: list[tuple[float, Callable[[Spin, float], None]]],
) -> None:
    run = Spin(Control(TASK, "test port"), Device(Plant(shipped_truth(), 1)))
    run.begin()
    for at_s, fault in plan:
        fault(run, at_s)
    run.run(until_s=11.0)
    if run.control.phase is not Phase.ENDED:
        # It may wait for a person, but not with the motor running.
        assert run.control.phase in WAITS
        run.order(order="stop")
        run.run(until_s=15.0)
    assert run.control.phase is Phase.ENDED
    run.rest()
    assert run.device.pulse_s == ZERO_PULSE_S
    assert_replays(run.records, TASK)


def test_the_ladder_reaches_every_phase_it_means_to() -> None:
    reached = []
    for rungs in range(12):
        puppet = Puppet(Control(TASK, "test port"))
        puppet.climb(rungs)
        reached.append(puppet.control.phase)
        assert_replays(puppet.records, TASK)
    assert reached == [
        Phase.IDENTIFYING,
        Phase.LISTENING,
        Phase.ZEROING,
        Phase.PROVING,
        Phase.LIMITING,
        Phase.READY,
        Phase.TRYING,
        Phase.ARMING,
        Phase.RUNNING,
        Phase.RUNNING,
        Phase.LOCKING,
        Phase.STOPPING,
    ]


# --------------------------------------------- laws that do not hold as yet


def spinning() -> Puppet:
    """A puppet in the middle of its plan."""
    puppet = Puppet(Control(TASK, "test port"))
    puppet.climb(9)
    assert puppet.control.phase is Phase.RUNNING
    return puppet


def test_a_refused_stop_is_not_confirmed() -> None:
    puppet = spinning()
    puppet.order({"order": "stop"})
    puppet.answer(m.Verdict.MALFORMED)
    assert puppet.control.phase is Phase.STOPPING
    puppet.wait(4000)
    assert puppet.control.outcome is not None
    assert not puppet.control.outcome.stop_confirmed


def test_a_tripped_stand_that_still_drives_has_not_confirmed() -> None:
    puppet = spinning()
    puppet.order({"order": "stop"})
    state, throttle = m.State.TRIPPED, 5000
    told = m.Counters(puppet.time_us, BOOT, state, 2, 2, throttle, 0, 0, 0, 0, 0)
    puppet.say(told)
    assert puppet.control.phase is Phase.STOPPING


def test_a_stand_that_spins_after_its_stop_is_not_called_stopped() -> None:
    puppet = spinning()
    puppet.order({"order": "stop"})
    puppet.answer()
    puppet.wait(100)
    puppet.tell(m.State.SPINNING)
    puppet.wait(4000)
    assert puppet.control.outcome is not None
    assert not puppet.control.outcome.stop_confirmed


def test_a_current_sensor_at_its_end_is_outside_its_limit() -> None:
    wide = (Limit("current", -15.0, 60.0, 3, 0.1, "plug 60 A"), *LIMITS[1:])
    run = spin(task(wide))
    pages = run.device.channels
    index = next(i for i, one in enumerate(pages) if one.name == "current")
    assert pages[index].to_si(pages[index].high_counts) < 60.0
    stuck = run.device.streams[0].channels.index(index)
    measure = run.device.plant.fast_frame

    def short_circuit(run: VirtualSpin) -> None:
        def frame_at_the_end() -> object:
            counts = list(measure())
            counts[stuck] = pages[index].high_counts
            return tuple(counts)

        run.device.plant.fast_frame = frame_at_the_end  # type: ignore[assignment,method-assign]

    run.at_walk(3.0, short_circuit)
    outcome = run.run().outcome
    assert outcome is not None
    assert outcome.check == "limit"


def test_without_a_limit_on_current_nothing_is_armed() -> None:
    for limits in (LIMITS[1:], (Limit("current", -3.0, math.inf, 3, 0.1, "none"),)):
        with pytest.raises(InputFault, match="no upper limit on the current"):
            Task(QUICK, limits, NONCE)


def test_two_channels_called_current_are_refused() -> None:
    puppet = Puppet(Control(TASK, "test port"))
    puppet.feed(Kind.TICK)
    puppet.introduce((*GOOD, GOOD[1]))
    assert puppet.control.phase is Phase.ENDED


def test_a_channel_that_no_limit_can_name_is_no_channel() -> None:
    payload = bytearray(m.encode(page(63, GOOD[1]), 0))
    payload[3] = 64
    with pytest.raises(m.MalformedMessage):
        m.decode_from_stand(bytes(payload))


def test_more_limits_than_a_frame_holds_end_in_words() -> None:
    more = tuple(
        Channel(f"more-{n}", m.Quantity.TEMPERATURE, 1000.0, 300_000) for n in range(4)
    )
    limits = tuple(Limit(c.name, 0.0, 400.0, 3, 0.5, "odd") for c in more)
    puppet = Puppet(Control(Task(QUICK, (*LIMITS, *limits), NONCE), "test port"))
    puppet.feed(Kind.TICK)
    puppet.introduce((*GOOD, *more))
    for _ in range(110):
        puppet.wait(20)
        puppet.sample((*GOOD, *more))
    assert puppet.control.phase is Phase.ENDED


def test_a_limit_beyond_the_counts_ends_in_words() -> None:
    odd = replace_channel(GOOD, "voltage", m.Quantity.FORCE, 3e8)
    puppet = Puppet(Control(TASK, "test port"))
    puppet.feed(Kind.TICK)
    puppet.introduce(odd)
    for _ in range(110):
        puppet.wait(20)
        puppet.sample(odd)
    assert puppet.control.phase is Phase.ENDED


def replace_channel(
    channels: tuple[Channel, ...],
    name: str,
    quantity: m.Quantity,
    counts_per_unit: float,
) -> tuple[Channel, ...]:
    """The same channels, one of them measuring something else, at zero."""
    return tuple(
        Channel(name, quantity, counts_per_unit, 0) if one.name == name else one
        for one in channels
    )


def test_a_reason_that_is_no_text_still_stops_and_is_recorded() -> None:
    puppet = spinning()
    puppet.feed(Kind.ORDER, b'{"order":"stop","why":"\\ud800"}')
    assert puppet.control.phase is Phase.STOPPING


def test_an_order_nested_too_deep_is_ignored() -> None:
    puppet = spinning()
    puppet.feed(Kind.ORDER, b"[" * 100_000)
    assert puppet.control.phase is Phase.RUNNING


def test_armed_and_locked_again_in_one_breath_ends() -> None:
    puppet = Puppet(Control(TASK, "test port"))
    puppet.climb(7)
    arm = puppet.laws.sent[-1]
    assert isinstance(arm, m.Arm)
    to, now_us = puppet.host_sequence, puppet.time_us
    locked = m.Event(
        now_us, BOOT, 3, m.State.LOCKED, m.Cause.IDLE_TOO_LONG, 0, 255, 255, 0, 0
    )
    puppet.say(m.Reply(arm.TYPE, to, m.Verdict.DONE, 0, now_us), locked)
    puppet.live(3000)
    assert puppet.control.phase is Phase.ENDED


def test_a_link_lost_while_arming_is_not_a_confirmed_stop() -> None:
    puppet = Puppet(Control(TASK, "test port"))
    puppet.climb(7)
    puppet.feed(Kind.LOST, b"The port is gone.")
    assert puppet.control.outcome is not None
    assert not puppet.control.outcome.stop_confirmed


def test_an_acknowledgement_whose_reply_was_lost_can_be_given_again() -> None:
    puppet = Puppet(Control(TASK, "test port"))
    puppet.climb(1)
    puppet.tell(m.State.TRIPPED)
    puppet.live(600)
    puppet.order({"order": "acknowledge"})
    assert isinstance(puppet.laws.sent[-1], m.Acknowledge)
    puppet.tell(m.State.LOCKED)  # it was done, and the reply damaged
    puppet.wait(500)
    puppet.order({"order": "acknowledge"})
    puppet.answer(m.Verdict.WRONG_STATE)  # nothing is latched any more
    assert puppet.control.phase is Phase.ZEROING


def test_what_the_keeper_keeps_replays() -> None:
    puppet = Puppet(Control(TASK, "test port"))
    puppet.climb(7)
    puppet.wait(30)  # bytes come in bursts from some adapters
    puppet.answer()
    puppet.live(200)
    puppet.finish()
    assert_replays(puppet.kept, TASK)


def test_one_damaged_lock_does_not_make_a_whole_run_a_trip() -> None:
    run = spin()
    receive = run.device.receive
    lost: list[bytes] = []

    def receive_all_but_the_first_lock(data: bytes) -> None:
        is_lock = any(p[0] == m.Lock.TYPE for p in Deframer().feed(data))
        if is_lock and not lost:
            lost.append(data)
        else:
            receive(data)

    run.device.receive = receive_all_but_the_first_lock  # type: ignore[method-assign]
    outcome = run.run().outcome
    assert lost
    assert outcome is not None
    assert outcome.ended == "completed"


def test_a_brown_out_is_named_though_the_silence_was_noticed_first() -> None:
    puppet = spinning()
    puppet.wait(400)  # its bootloader runs
    assert puppet.control.phase is Phase.STOPPING
    puppet.say(
        m.Event(
            100,
            BOOT + 1,
            1,
            m.State.LOCKED,
            m.Cause.BROWN_OUT,
            0,
            m.NONE,
            m.NONE,
            0,
            0,
        )
    )
    puppet.wait(4000)
    assert puppet.control.outcome is not None
    assert puppet.control.outcome.check == "restarted"
