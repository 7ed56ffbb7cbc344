"""The proof: every guard is seen to act, and a stand that lacks one is found out."""

from collections.abc import Callable

import pytest
from typing_extensions import override

from daq.link import messages as m
from daq.link.framing import Deframer, frame
from daq.records.wirelog import Kind
from daq.stand import device as devices
from daq.stand.device import Device
from daq.stand.faults.article import EscIgnoringZero, EscNotArming
from daq.stand.faults.stand import FaultyStand
from daq.stand.plant.bench import Plant
from daq.stand.plant.truth import shipped_truth
from protocols.control import Control
from protocols.limits import Limit
from protocols.outcome import Ended, Outcome
from protocols.phases import Phase
from protocols.proof.exercises import RAISED
from protocols.proof.proof import VALID_S
from tests.spins import LIMITS, spin, task
from tests.virtual import VirtualSpin

SPIN_A = ("lease", "damage", "stop", "limit", "silence", "latch", "stop loop")
SPEED_TOO = (*LIMITS, Limit("speed", 0.0, 6283.0, 5, 0.5, "propeller"))
NO_READ_BACK = devices.ABILITIES & ~(m.Ability.PROVE | m.Ability.PULSE_READBACK)


def notes(run: VirtualSpin, kind: str) -> list[dict[str, object]]:
    made = (r.json() for r in run.records if r.kind is Kind.NOTE)
    return [note for note in made if note["note"] == kind]


def sent(run: VirtualSpin) -> list[m.ToStand | m.Unknown]:
    deframer = Deframer()
    out = []
    for record in run.records:
        if record.kind is Kind.BYTES_OUT:
            out += [m.decode_to_stand(p) for p in deframer.feed(record.data)]
    return out


def ended(run: VirtualSpin) -> Outcome:
    outcome = run.run().outcome
    assert outcome is not None
    return outcome


def plain_stand(run: VirtualSpin, monkeypatch: pytest.MonkeyPatch) -> VirtualSpin:
    """A stand that cannot prove pulses: it says so, and refuses to."""
    monkeypatch.setattr(devices, "ABILITIES", NO_READ_BACK)
    arm = run.device._arm

    def refuses(message: m.Prove | m.Arm, sequence: int) -> m.Verdict:
        if isinstance(message, m.Prove):
            return m.Verdict.UNKNOWN_COMMAND
        return arm(message, sequence)

    run.device._arm = refuses  # type: ignore[method-assign]
    return run


# ------------------------------------------------------------- what is shown


def test_with_the_supply_off_every_guard_cuts_a_real_pulse() -> None:
    run = spin()
    assert ended(run).ended is Ended.COMPLETED
    shown = [n for n in notes(run, "proved") if n["part"] == "a"]
    assert tuple(dict.fromkeys(n["guard"] for n in shown)) == SPIN_A
    limited = [n["channel"] for n in shown if n["guard"] == "limit"]
    assert sorted(map(str, limited)) == ["current", "thrust", "voltage"]
    assert all(n["seen"] == "pulse read back as gone" for n in shown)
    took_ms = {n["guard"]: n["took_ms"] for n in shown if "took_ms" in n}
    assert 150 < float(str(took_ms["lease"])) < 210
    assert float(str(took_ms["stop"])) < 20


def test_a_pulse_is_raised_only_while_the_supply_is_off() -> None:
    run = spin()
    raised_with_supply: list[float] = []

    def look(run: VirtualSpin) -> None:
        on_trial = run.control.phase is Phase.PROVING
        if on_trial and run.device.pulse_s > devices.ZERO_PULSE_S:
            raised_with_supply.append(run.device.plant.bus_v)  # type: ignore[attr-defined]
        run.at(0.0, look)

    run.at(0.0, look)
    ended(run)
    assert len(raised_with_supply) > 100
    assert max(raised_with_supply) < 1.0


def test_with_the_supply_on_the_lapsed_lease_stops_the_running_motor() -> None:
    run = spin()
    fastest: list[float] = []

    def look(run: VirtualSpin) -> None:
        if run.control.phase is Phase.TRYING:
            fastest.append(run.device.plant.state.speed_rad_s)  # type: ignore[attr-defined]
        run.at(0.0, look)

    run.at(0.0, look)
    ended(run)
    (shown,) = [n for n in notes(run, "proved") if n["part"] == "c"]
    assert shown["seen"] == "current and speed fell"
    assert max(fastest) > 100.0
    throttles = [c for c in sent(run) if isinstance(c, m.Throttle)]
    assert max(t.setpoint for t in throttles if t.nonce != task().nonce) == RAISED


def test_the_proof_clears_its_own_latches_and_restores_the_real_limits() -> None:
    run = spin()
    ended(run)
    commands = sent(run)
    armed = max(i for i, c in enumerate(commands) if isinstance(c, m.Arm))
    arm = commands[armed]
    last = next(c for c in commands[armed::-1] if isinstance(c, m.Limits))
    assert isinstance(arm, m.Arm)
    assert arm.limits_crc == last.crc
    assert arm.nonce == task().nonce
    proofs = [c.nonce for c in commands if isinstance(c, m.Prove | m.Arm)]
    assert len(set(proofs)) == len(proofs)


def test_a_stand_without_read_back_is_proven_at_zero_throttle(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    run = plain_stand(spin(), monkeypatch)
    assert ended(run).ended is Ended.COMPLETED
    assert [n["part"] for n in notes(run, "proof")] == ["b", "c"]
    shown = [n for n in notes(run, "proved") if n["part"] == "b"]
    assert tuple(dict.fromkeys(n["guard"] for n in shown)) == SPIN_A
    assert all(n["seen"] == "event" for n in shown)
    assert "plug out" not in run.asked
    proving = [c for c in sent(run) if isinstance(c, m.Throttle)]
    first_raised = next(c for c in proving if c.setpoint)
    grants = [c for c in sent(run) if isinstance(c, m.Arm)]
    by_events = [c.nonce for c in grants if c.nonce < first_raised.nonce]
    assert len(by_events) >= len(shown)


# -------------------------------------------------- stands that lack a guard


class Lax(Deframer):
    """Takes frames whatever their CRC."""

    @override
    def feed(self, data: bytes) -> list[bytes]:
        from cobs import cobs

        return [cobs.decode(part)[:-2] for part in data.split(b"\0") if part]


def no_lease(device: Device) -> None:
    protect = device._protect

    def never_lapses() -> None:
        device._lease_end_us = device.time_us + 1_000_000
        protect()

    device._protect = never_lapses  # type: ignore[method-assign]


def no_crc(device: Device) -> None:
    device._deframer = Lax()


def no_stop(device: Device) -> None:
    answer = device._answer

    def deaf(
        message: m.ToStand | m.Unknown, sequence: int, body: bytes
    ) -> tuple[m.Verdict, int]:
        if isinstance(message, m.Stop):
            return m.Verdict.DONE, 0
        return answer(message, sequence, body)

    device._answer = deaf  # type: ignore[method-assign]


def no_current_limit(device: Device) -> None:
    current = next(c.index for c in device.channels if c.name == "current")
    take = device._take_limits

    def blind(message: m.Limits, body: bytes) -> tuple[m.Verdict, int]:
        answer = take(message, body)
        device._by_channel.pop(current, None)
        for watch in device._watches:
            if watch.entry.channel == current:
                watch.outside = 0
        return answer

    device._take_limits = blind  # type: ignore[method-assign]


def no_silence(device: Device) -> None:
    protect = device._protect

    def patient() -> None:
        for reading in device._readings:
            reading.at_us = device.time_us
        protect()

    device._protect = patient  # type: ignore[method-assign]


def no_latch(device: Device) -> None:
    throttle = device._throttle

    def forgives(message: m.Throttle, sequence: int) -> None:
        if device.state is m.State.TRIPPED and device._latch:
            device._setpoint = message.setpoint
        throttle(message, sequence)

    device._throttle = forgives  # type: ignore[method-assign]


def no_loop(device: Device) -> None:
    kind = type(device)
    device.__class__ = type(
        "Loopless",
        (kind,),
        {"stop_loop_open": property(lambda _: False, lambda *_: None)},
    )


def pulse_goes_on(device: Device) -> None:
    zero = device._zero

    def keeps() -> None:
        held = device._setpoint
        zero()
        device._setpoint = held

    device._zero = keeps  # type: ignore[method-assign]


def pulse_pin_dead(device: Device) -> None:
    frame = device.plant.fast_frame
    device.plant.fast_frame = lambda: frame()._replace(pulse_counts=1000)  # type: ignore[method-assign]


@pytest.mark.parametrize(
    ("lack", "guard"),
    [
        (no_lease, "lease"),
        (no_crc, "damage"),
        (no_stop, "stop"),
        (no_current_limit, "limit on current"),
        (no_silence, "silence of thrust"),
        (no_latch, "latch"),
        (no_loop, "stop loop"),
        (pulse_goes_on, "lease"),
        (pulse_pin_dead, "lease"),
    ],
)
def test_a_stand_that_lacks_a_guard_is_found_out(
    lack: Callable[[Device], None], guard: str
) -> None:
    run = spin()
    lack(run.device)
    outcome = ended(run)
    assert (outcome.ended, outcome.check) == (Ended.FAILED, f"proof: {guard}")
    assert outcome.cause.startswith("The proof")
    assert not any(isinstance(c, m.Arm) for c in sent(run))
    assert not notes(run, "ready")


def test_an_esc_that_does_not_arm_is_found_before_the_plan() -> None:
    device = FaultyStand(Plant(shipped_truth(), 1), [EscNotArming(start_s=0.0)])
    outcome = ended(VirtualSpin(Control(task(), "test port"), device))
    assert outcome.check == "proof: lease while running"
    assert "not seen to turn" in outcome.cause
    assert "beeps" in outcome.advice


def test_an_esc_that_ignores_zero_is_found_before_the_plan() -> None:
    device = FaultyStand(Plant(shipped_truth(), 1), [EscIgnoringZero(start_s=4.0)])
    outcome = ended(VirtualSpin(Control(task(), "test port"), device))
    # Whoever is first: the guard, which watches this too, or the proof itself.
    assert outcome.check in ("follows", "proof: lease while running")
    assert "THE MOTOR RUNS ON" in outcome.cause
    assert not outcome.stop_confirmed


def test_a_motor_that_turns_before_anything_was_armed_is_never_armed() -> None:
    """The ESC took the proof's last pulse for good, and starts with the plug."""
    device = FaultyStand(
        Plant(shipped_truth(), 1, plug_in=False), [EscIgnoringZero(start_s=0.0)]
    )
    run = VirtualSpin(Control(task(SPEED_TOO), "test port"), device)
    outcome = ended(run)
    assert (outcome.ended, outcome.check) == (Ended.FAILED, "follows")
    assert "THE MOTOR RUNS ON though the pulse is at zero" in outcome.cause
    assert "rpm" in outcome.cause
    assert outcome.advice.startswith("PULL THE ARMING PLUG")
    assert not outcome.stop_confirmed
    assert not any(isinstance(c, m.Arm) for c in sent(run))


# ------------------------------------------------------------ what ends it


def test_a_supply_that_comes_on_while_proving_is_named() -> None:
    run = spin()
    run.at(1.0, lambda r: setattr(r.device.plant, "plug_in", True))
    outcome = ended(run)
    assert (outcome.ended, outcome.check) == (Ended.TRIPPED, "supply on")
    assert run.device.pulse_s == pytest.approx(devices.ZERO_PULSE_S)


def test_a_restart_while_proving_ends_the_run() -> None:
    run = spin()
    run.at(1.05, lambda r: r.device.reset(m.Cause.BROWN_OUT))
    outcome = ended(run)
    assert (outcome.ended, outcome.check) == (Ended.FAILED, "restarted")


def test_a_limit_while_proving_with_the_supply_on_is_a_trip() -> None:
    run = spin()

    def load(run: VirtualSpin) -> None:
        run.device.plant.placed_load_n = 9.9  # type: ignore[attr-defined]

    run.at(4.2, load)
    outcome = ended(run)
    assert (outcome.ended, outcome.check) == (Ended.TRIPPED, "limit")


def test_a_stop_while_proving_ends_it_and_nothing_is_driven_again() -> None:
    for at_s in (0.95, 1.0, 1.2, 1.4, 1.61, 3.5, 4.0, 4.6, 4.8):
        run = spin()
        run.at(at_s, lambda r: r.order(order="stop"))
        outcome = ended(run)
        assert outcome.ended is Ended.STOPPED
        assert outcome.stop_confirmed
        assert run.device.pulse_s == pytest.approx(devices.ZERO_PULSE_S)


@pytest.mark.slow
def test_a_proof_that_is_too_old_is_made_again_before_anything_turns() -> None:
    run = spin()
    run.went = True  # nobody says go by himself
    run.at(3.6, lambda r: r.order(order="beat"))
    late_s = 3.0 + VALID_S
    # The supply is let in late, so that the proof lapses while it is waited for.
    run.obliging = True
    wanted = run._wanted
    held: list[object] = []

    def slow(what: object) -> None:
        if what == "plug in" and not held:
            held.append(what)
            run.asked.append("plug in")
        else:
            wanted(what)

    run._wanted = slow  # type: ignore[method-assign]
    run.at(590.0, lambda r: setattr(r.device.plant, "plug_in", True))
    run.at(late_s + 2.0, lambda r: r.order(order="go"))
    run.at(late_s + 8.0, lambda r: r.order(order="go"))
    run.run(until_s=700.0)
    assert len(notes(run, "proof lapsed")) == 1
    assert [n["part"] for n in notes(run, "proof")] == ["a", "a", "c"]
    outcome = run.control.outcome
    assert outcome is not None
    assert outcome.ended is Ended.COMPLETED


@pytest.mark.parametrize("state", [m.State.PROVING, m.State.ARMED])
def test_a_stand_that_is_granted_what_nobody_asked_for_gets_no_throttle(
    state: m.State,
) -> None:
    run = spin()
    run._input(Kind.TICK, b"")
    while run.control.phase is not Phase.PROVING:
        run.step()
    told = m.Counters(run.device.time_us, 1, state, 0, 1, 0, 0, 0, 0, 0, 0)
    run._input(Kind.BYTES_IN, b"\0" + frame(m.encode(told, 0)))
    outcome = ended(run)
    assert outcome.ended is Ended.FAILED or outcome.ended is Ended.TRIPPED
    assert not any(isinstance(c, m.Throttle) for c in sent(run))
    assert any(isinstance(c, m.Stop) for c in sent(run))
