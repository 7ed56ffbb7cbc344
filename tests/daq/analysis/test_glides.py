"""Glides: stretches of throttle against invented relations known exactly."""

from functools import cache

import numpy as np
import pytest

from daq.analysis.budget import budget_of
from daq.analysis.glides import BIN_FRAC, Glides, read_glides
from daq.analysis.plateaus import average
from daq.analysis.run import Analysis, analyse
from daq.analysis.series import Array, Hold, Series
from daq.analysis.unseen import ASLEEP, NOTHING_UNSEEN, SEAT, USUAL, WASH, Unseen
from daq.stand.plant.bench import Plant
from daq.stand.plant.truth import Truth, shipped_truth

REST_S = 4.0
LOW, HIGH = 0.1, 0.9
RATE_FRAC_S = 0.05
WAY_S = (HIGH - LOW) / RATE_FRAC_S
SD_N = 0.01
ZERO_N = 0.7


def holds(*, cut_frac: float = LOW, times: int = 1) -> list[Hold]:
    """Rest, up and back so often, rest; the last way back may be cut."""
    found = [Hold("rest", "rest", -1, 0.0, 0.0, REST_S)]
    at_s = REST_S + 1.0
    for number in range(times):
        last = number == times - 1
        found.append(Hold("glide", "up", 1, HIGH, at_s, at_s + WAY_S, LOW))
        at_s += WAY_S + 1.0
        to_frac = cut_frac if last else LOW
        back_s = (HIGH - to_frac) / RATE_FRAC_S
        found.append(Hold("glide", "down", 0, to_frac, at_s, at_s + back_s, HIGH))
        at_s += back_s + 1.0
        found.append(Hold("rest", "rest", -1, 0.0, at_s, at_s + REST_S))
        at_s += REST_S
    return found


def throttle_at(t_s: Array, walked: list[Hold], lag_s: float = 0.0) -> Array:
    """Throttle at each time, seen so much later."""
    throttle = np.zeros(t_s.size)
    for hold in walked:
        if hold.from_frac is None:
            continue
        # What is held between the ways stays where the way before led.
        inside = t_s >= hold.start_s
        into_s = np.clip(t_s[inside] - lag_s - hold.start_s, 0, None)
        share = np.minimum(into_s / (hold.end_s - hold.start_s), 1.0)
        throttle[inside] = hold.from_frac + share * (
            hold.throttle_frac - hold.from_frac
        )
    for hold in walked:
        if hold.kind == "rest":
            throttle[(t_s >= hold.start_s) & (t_s <= hold.end_s)] = 0.0
    return throttle


def thrust_n(throttle_frac: Array) -> Array:
    """The invented relation."""
    return 3.0 * throttle_frac**2


def thrust(walked: list[Hold], *, lag_s: float = 0.0, seed: int = 1) -> Series:
    """80 readings a second of it, with noise and a zero of its own."""
    t_s = np.arange(0.0, walked[-1].end_s, 1 / 80)
    noise = SD_N * np.random.default_rng(seed).standard_normal(t_s.size)
    value = ZERO_N + thrust_n(throttle_at(t_s, walked, lag_s)) + noise
    return Series("thrust", "force", t_s, value, 0.005, 1e-4)


def glides_of(walked: list[Hold], **given: float) -> Glides | None:
    series = {"thrust": thrust(walked, **given)}  # type: ignore[arg-type]
    return read_glides(series, walked, average(series, walked))


def analysis_of(walked: list[Hold], lag_s: float = 0.0) -> Analysis:
    return analyse({"thrust": thrust(walked, lag_s=lag_s)}, walked)


def test_stretches_lie_end_to_end_over_the_whole_span_each_way() -> None:
    found = glides_of(holds())
    assert found is not None
    middles = np.arange(0.125, 0.9, 0.05)
    assert found.throttle_frac == pytest.approx(
        np.concatenate([middles, middles[::-1]])
    )
    assert found.leg == ("up",) * 16 + ("down",) * 16
    assert set(found.number) == {1, 2}
    assert found.span_frac == (LOW, HIGH)
    assert found.rate_frac_s == pytest.approx(RATE_FRAC_S)


def test_a_mean_is_the_relation_at_the_middle_of_its_stretch() -> None:
    found = glides_of(holds())
    assert found is not None
    measured = found.channels["thrust"]
    # The mean of a square over a stretch of width w lies w^2/12 above its middle.
    true_n = 3.0 * (found.throttle_frac**2 + BIN_FRAC**2 / 12)
    off = np.abs(measured.value - true_n)
    u = measured.sources["thrust random"].factor
    # A stretch holds 80 independent readings.
    assert float(np.median(u)) == pytest.approx(SD_N / np.sqrt(80), rel=0.1)
    assert np.all(off < 4 * measured.standard_uncertainty())


def test_intervals_hold_the_truth_about_as_often_as_they_say() -> None:
    inside, every = 0, 0
    for seed in range(1, 21):
        found = glides_of(holds(), seed=seed)
        assert found is not None
        low, high = found.channels["thrust"].interval()
        true_n = 3.0 * (found.throttle_frac**2 + BIN_FRAC**2 / 12)
        inside += int(np.count_nonzero((low < true_n) & (true_n < high)))
        every += true_n.size
    assert inside / every > 0.93


def test_a_glide_that_was_cut_keeps_its_whole_stretches_only() -> None:
    found = glides_of(holds(cut_frac=0.42))
    assert found is not None
    down = found.throttle_frac[np.array(found.leg) == "down"]
    assert down == pytest.approx(np.arange(0.875, 0.44, -0.05))


def test_an_end_a_hair_off_the_edge_is_still_a_whole_stretch() -> None:
    walked = holds()
    first = walked[1]
    # Cut by 20 ms, as the end of a hold is: a thousandth of full throttle.
    early_s = first.end_s - 0.02
    walked[1] = Hold("glide", "up", 1, HIGH - 0.001, first.start_s, early_s, LOW)
    found = glides_of(walked)
    assert found is not None
    up = np.array(found.leg) == "up"
    assert found.throttle_frac[up][-1] == pytest.approx(0.875)
    true_n = 3.0 * (0.875**2 + BIN_FRAC**2 / 12)
    assert found.channels["thrust"].value[up][-1] == pytest.approx(true_n, abs=0.005)


def test_too_short_a_glide_is_none() -> None:
    walked = [
        Hold("rest", "rest", -1, 0.0, 0.0, 4.0),
        Hold("glide", "up", 1, 0.13, 5.0, 5.6, 0.1),
        Hold("rest", "rest", -1, 0.0, 7.0, 11.0),
    ]
    assert glides_of(walked) is None
    assert glides_of(holds()[:1]) is None


def test_repeats_are_told_apart_and_paired_each_with_its_own_way_back() -> None:
    found = glides_of(holds(times=3))
    assert found is not None
    assert sorted(set(found.number)) == [1, 2, 3, 4, 5, 6]
    (legs,) = found.legs
    assert legs.difference.value.size == 3 * 16


def test_a_lag_shows_as_more_thrust_on_the_way_down_by_what_it_must() -> None:
    lag_s = 0.2
    found = glides_of(holds(), lag_s=lag_s)
    assert found is not None
    (legs,) = found.legs
    # Up reads 3 (x - r lag)^2, down 3 (x + r lag)^2: 12 x r lag apart.
    expected_n = -12 * legs.throttle_frac * RATE_FRAC_S * lag_s
    assert legs.difference.value == pytest.approx(expected_n, abs=0.012)


def test_the_finding_tells_the_ways_apart_only_where_they_are() -> None:
    same = analysis_of(holds())
    apart = analysis_of(holds(), lag_s=0.2)
    said = {f.id: f for f in same.findings}["glide-ways"]
    assert "cannot be told from that gliding up" in said.sentence
    said = {f.id: f for f in apart.findings}["glide-ways"]
    assert "higher gliding down than gliding up" in said.sentence
    assert any("0.1 s late reads 0.5 % of throttle behind" in c for c in said.cautions)
    assert said.low is not None
    assert said.low > 0


def test_a_glide_is_no_plateau_no_curve_and_no_missing_dwell() -> None:
    found = analysis_of(holds())
    assert len(found.plateaus) == 0
    assert found.curves == ()
    assert [f.id for f in found.findings][:2] == ["glide", "glide-ways"]
    glide = found.findings[0]
    assert "a staircase gives those" in glide.sentence
    assert (glide.low, glide.high) == (None, None)
    rows = found.to_dict()["glides"]
    assert isinstance(rows, list)
    assert len(rows) == 32
    assert len({tuple(row) for row in rows}) == 1


def test_the_table_repeats_thrust_in_the_trades_unit() -> None:
    found = glides_of(holds())
    assert found is not None
    row = found.rows()[0]
    # 1 gf = 9.80665e-3 N: CGPM 1901.
    assert float(str(row["thrust_n"])) == pytest.approx(
        float(str(row["thrust_gf"])) * 9.80665e-3
    )
    assert (row["glide"], row["leg"], row["throttle_frac"]) == (1, "up", 0.125)


def test_readings_that_are_missing_leave_a_stretch_empty_and_the_others_whole() -> None:
    walked = holds()
    whole = thrust(walked)
    value = whole.value_si.copy()
    gone = (whole.t_s > walked[1].start_s) & (whole.t_s < walked[1].start_s + 1.0)
    value[gone] = np.nan
    series = {"thrust": Series("thrust", "force", whole.t_s, value, 0.005, 1e-4)}
    found = read_glides(series, walked, average(series, walked))
    assert found is not None
    assert np.isnan(found.channels["thrust"].value[0])
    assert np.isfinite(found.channels["thrust"].value[1:]).all()
    assert found.rows()[0]["thrust_n"] is None
    assert found.legs[0].difference.value.size == 15


# ------------------------------------------------ on a stand as people build them

FRAME_S = 4e-3
#: A stretch takes 3 s at this: what lags 20 ms is then a twentieth of a per cent of
#: throttle behind.
SLOW_FRAC_S = BIN_FRAC / 3


def rough() -> Truth:
    """The rough stand, its sensors and its lever known as well as one likes.

    What is left is what neither a calibration nor the readings show.
    """
    truth = shipped_truth("rough")
    assert truth.arm is not None
    sensors = {
        name: getattr(truth, name).model_copy(
            update={"gain_u": None, "gain_error": 0.0, "gain_tolerance_rel": 1e-4}
        )
        for name in ("load_cell", "current_sensor")
    }
    level = {"thrust_arm_m": truth.arm.cell_arm_m, "mass_arm_m": truth.arm.cell_arm_m}
    return truth.model_copy(
        update={**sensors, "arm": truth.arm.model_copy(update=level)}
    )


def slow_holds() -> list[Hold]:
    """Rests, and slow ways up and back between them, twice."""
    way_s = (HIGH - 0.2) / SLOW_FRAC_S
    found = [Hold("rest", "rest", -1, 0.0, 0.0, REST_S)]
    for _ in range(2):
        up_s = found[-1].end_s + 1.0
        down_s = up_s + way_s + 0.5
        rest_s = down_s + way_s + 2.0
        found += [
            Hold("glide", "up", 1, HIGH, up_s, up_s + way_s, 0.2),
            Hold("glide", "down", 0, 0.2, down_s, down_s + way_s, HIGH),
            Hold("rest", "rest", -1, 0.0, rest_s, rest_s + REST_S),
        ]
    return found


@cache
def on_the_rough_stand() -> tuple[dict[str, Series], dict[str, Series]]:
    """Channels as they are read, and the truth at the same times."""
    truth, walked = rough(), slow_holds()
    plant = Plant(truth, 5, step_s=FRAME_S / 2)
    times_s = np.arange(0.0, walked[-1].end_s, FRAME_S)
    throttles = throttle_at(times_s, walked)
    # The motor is at rest until half a second before a glide starts.
    for rest, glide in zip(walked[0::3], walked[1::3], strict=False):
        throttles[(times_s > rest.start_s) & (times_s < glide.start_s)] = 0.0
        throttles[(times_s > glide.start_s - 0.5) & (times_s < glide.start_s)] = 0.2
    read: dict[str, list[tuple[float, float]]] = {"thrust": [], "current": []}
    true: dict[str, list[tuple[float, float]]] = {"thrust": [], "current": []}
    for throttle in throttles:
        plant.advance(FRAME_S, 1e-3 * (1.0 + float(throttle)))
        state, per_unit = plant.state, plant.true_counts_per_unit
        amps = plant.fast_frame()[0] / per_unit["current"]
        read["current"].append((plant.time_s, amps))
        true["current"].append((plant.time_s, state.bus_a))
        true["thrust"].append((plant.time_s, state.thrust_n))
        if (count := plant.take_conversion()) is not None:
            read["thrust"].append((plant.time_s, count / per_unit["thrust"]))
    return _series(read), _series(true)


def _series(read: dict[str, list[tuple[float, float]]]) -> dict[str, Series]:
    found = {}
    for name, pairs in read.items():
        t_s, value = np.array(pairs).T
        found[name] = Series(name, "any", t_s, value, 1e-4, 1e-5)
    return found


def missed(unseen: Unseen, channel: str) -> Array:
    """By how much of half an interval each stretch is off the plant's own truth."""
    read, true = on_the_rough_stand()
    walked = slow_holds()
    found = read_glides(read, walked, average(read, walked), unseen)
    known = read_glides(true, walked, average(true, walked))
    assert found is not None
    assert known is not None
    # The truth's own mean over a stretch, with no zero taken off.
    rests = average(true, walked).channels[channel].rests
    zero = float(rests.value.mean())
    measured = found.channels[channel]
    off = measured.value - (known.channels[channel].value + zero)
    return np.abs(off) / measured.half_width()


@pytest.mark.parametrize("channel", ["thrust", "current"])
@pytest.mark.slow
def test_a_glide_on_a_rough_stand_holds_the_truth_only_with_what_nothing_shows(
    channel: str,
) -> None:
    # Wash on the arm, torque that leaks, where the axis sits; and what the speed
    # controller draws while its motor rests.
    held = missed(USUAL, channel) <= 1.0
    too_certain = missed(NOTHING_UNSEEN, channel) <= 1.0
    assert np.mean(held) >= 0.95
    assert np.mean(too_certain) < 0.5


def test_the_budget_of_a_glide_names_what_nothing_shows() -> None:
    read, _ = on_the_rough_stand()
    found = analyse(read, slow_holds(), unseen=USUAL)
    glides = found.evidence.glides
    assert glides is not None
    top = int(np.argmax(glides.throttle_frac))
    thrust_causes = [part.cause for part in budget_of(glides.channels["thrust"], top)]
    assert thrust_causes[:2] == [WASH, SEAT]
    low = int(np.argmin(glides.throttle_frac))
    current_causes = [part.cause for part in budget_of(glides.channels["current"], low)]
    assert current_causes[0] == ASLEEP
    # They belong to the stand, so that they cancel where both ways have them.
    assert {WASH, SEAT, ASLEEP} <= found.evidence.of_scale
    ways = {f.id: f for f in found.findings}["glide-ways"]
    assert WASH not in {part.cause for part in ways.budget}


def test_a_glide_and_a_plateau_carry_the_same_causes() -> None:
    walked = slow_holds()
    held = Hold("dwell", "up", 2, 0.9, walked[1].end_s - 1.5, walked[1].end_s)
    read, _ = on_the_rough_stand()
    found = analyse(read, [walked[0], held, *walked[2:]], unseen=USUAL)
    glides = found.evidence.glides
    assert glides is not None
    for channel, means in glides.channels.items():
        plateau = found.plateaus.measured(channel)
        assert plateau is not None
        assert set(means.sources) == set(plateau.sources)
