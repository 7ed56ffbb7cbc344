"""What a club keeps of a run: what it is compared by, and what that rests on.

One small JSON object a run. It is made from a run's analysis by whoever has its wire
log; of a bundle that holds tables only it is the sender's word, and so everything in
it is checked: bounded lists, bounded texts, finite numbers. Nothing here reads a run.
"""

from __future__ import annotations

import hashlib
import json
from typing import Annotated, Any, Final, Literal, Self

from pydantic import Field, ValidationError, model_validator

from daq.errors import InputFault
from daq.typed_toml import Table, told

FORMAT: Final = 1
#: Most bytes that one entry may have as JSON.
MOST_BYTES: Final = 200_000

Short = Annotated[str, Field(max_length=120)]
Sentence = Annotated[str, Field(max_length=1200)]
#: Larger than anything that a bench measures, and small enough to be squared.
Number = Annotated[float, Field(ge=-1e12, le=1e12)]
#: Smaller than anything that a bench measures, and large enough to be divided by.
LEAST: Final = 1e-9
Positive = Annotated[float, Field(ge=LEAST, le=1e12)]
NotNegative = Annotated[float, Field(ge=0, le=1e12)]
Date = Annotated[str, Field(pattern=r"^\d{4}-\d{2}-\d{2}([T ][0-9:.+Z-]{4,20})?$")]
Key = Annotated[str, Field(pattern=r"^[0-9a-f]{16}$")]


class Interval(Table):
    """A figure with the limits of its 95 % interval, SI."""

    value: Number
    low: Number
    high: Number

    @model_validator(mode="after")
    def _holds_its_value(self) -> Self:
        if not self.low <= self.value <= self.high:
            raise ValueError("has an interval that does not hold its value")
        return self


class CurveTold(Table):
    """A curve at some points of its measured range, SI.

    Attributes:
        x: rising.
        y: above zero.
        half: half of the 95 % interval of each y.
        own_u_rel: standard uncertainty from what belongs to this run alone, as a
            share of y.
        scale_u_rel: the same from what all runs by the same scales share.
        dof: degrees of freedom of the run's own part, the least of all points; None
            for many.
    """

    x: Annotated[tuple[Number, ...], Field(min_length=2, max_length=64)]
    y: Annotated[tuple[Positive, ...], Field(min_length=2, max_length=64)]
    half: Annotated[tuple[NotNegative, ...], Field(min_length=2, max_length=64)]
    own_u_rel: Annotated[tuple[NotNegative, ...], Field(min_length=2, max_length=64)]
    scale_u_rel: Annotated[tuple[NotNegative, ...], Field(min_length=2, max_length=64)]
    dof: Annotated[float, Field(ge=1, le=1e9)] | None = None

    @model_validator(mode="after")
    def _fits_together(self) -> Self:
        sizes = {
            len(values)
            for values in (self.x, self.y, self.half, self.own_u_rel, self.scale_u_rel)
        }
        if len(sizes) != 1:
            raise ValueError("has lists of different lengths")
        if any(b - a < LEAST for a, b in zip(self.x, self.x[1:], strict=False)):
            raise ValueError("has an x that does not rise")
        return self


class Curves(Table):
    """The curves of a run, as far as it has them, SI.

    Attributes:
        specific_thrust: thrust over electrical power (N/W), against thrust (N).
        thrust: thrust (N) against throttle times bus voltage (V).
        thrust_by_throttle: thrust (N) against throttle.
        current_by_throttle: current (A) against throttle.
        power_by_throttle: electrical power (W) against throttle.
    """

    specific_thrust: CurveTold | None = None
    thrust: CurveTold | None = None
    thrust_by_throttle: CurveTold | None = None
    current_by_throttle: CurveTold | None = None
    power_by_throttle: CurveTold | None = None


class RatingTold(Table):
    """A part's rating against what flows at full throttle.

    Attributes:
        part: in words.
        limit_a: what it is rated for as long as one likes.
        current_a: what flows through it.
        verdict: as the interval allows.
        of_aircraft: whether that is in the aircraft, all motors on one pack; else it
            is what was measured on the stand.
    """

    part: Short
    limit_a: Positive
    current_a: Interval
    verdict: Literal["within", "beyond", "cannot tell"]
    of_aircraft: bool


class FullTold(Table):
    """The plateau of highest thrust.

    Attributes:
        throttle_frac: its throttle.
        thrust_n: of one motor.
        current_a: on the stand.
        voltage_v: at the bus.
        power_w: electrical.
        specific_n_w: thrust over electrical power.
        ratings: of the parts.
    """

    throttle_frac: Annotated[float, Field(gt=0, le=1)]
    thrust_n: Interval
    current_a: Interval | None = None
    voltage_v: Interval | None = None
    power_w: Interval | None = None
    specific_n_w: Interval | None = None
    ratings: Annotated[tuple[RatingTold, ...], Field(max_length=8)] = ()


class HoverTold(Table):
    """The article's own aircraft, as its owner described it, standing in the air.

    Attributes:
        motors: how many.
        all_up_g: all-up weight.
        throttle_frac: of each motor.
        specific_n_w: of each motor.
        endurance_s: from full to a fifth left; None without a pack.
    """

    motors: Annotated[int, Field(ge=1, le=12)]
    all_up_g: Positive
    throttle_frac: Interval
    specific_n_w: Interval
    endurance_s: Interval | None = None


class ArticleTold(Table):
    """What was tested.

    Attributes:
        key: of everything in its description but note and air: the same key is the
            same article as its owner described it.
        name: what its owner calls it.
        motor: in words.
        kv_rpm_v: speed constant as printed.
        propeller: in words.
        diameter_mm: as measured.
        blades: of the propeller.
        esc: in words.
        source: pack or supply, in words.
        cells: in series; None on a supply.
        plug: in words; None where there is none.
        mount: tractor or pusher.
        travels: the round robin that this very specimen is part of; None for none.
    """

    key: Key
    name: Short
    motor: Short
    kv_rpm_v: Positive
    propeller: Short
    diameter_mm: Positive
    blades: Annotated[int, Field(ge=1, le=8)]
    esc: Short
    source: Short
    cells: Annotated[int, Field(ge=1, le=14)] | None = None
    plug: Short | None = None
    mount: Literal["tractor", "pusher"]
    travels: Short | None = None


class ScaleTold(Table):
    """What one channel's readings rest on.

    Attributes:
        channel: thrust, current or voltage.
        by: what kind of thing it was held against.
        words: the same in words.
        made_utc: when; None where nothing was made.
        u_rel: standard uncertainty at its largest value, as a share.
    """

    channel: Literal["thrust", "current", "voltage"]
    by: Literal["masses", "coins", "own masses", "meter", "resistor", "nominal"]
    words: Sentence
    made_utc: Date | None = None
    u_rel: NotNegative | None = None


class EvidenceTold(Table):
    """What a run's figures rest on.

    Attributes:
        simulated: nothing turned: not measured but simulated.
        invented: not even simulated: made up, to try something out.
        elsewhere: it was recorded by another program, which nothing here drove or
            guarded.
        stand: who the stand is, by the number that it gives or its description.
        guards_itself: whether the stand itself stops the motor.
        scales: what the readings were calibrated by.
        proof: what was seen of the guards before the spin.
        proof_words: the same in words.
        ended: how the run ended.
        data: whether its data are good: whole, part, or not known.
        air_noted: whether the air was noted.
        record: whether the wire log is there and intact.
        words: all of it in one line.
    """

    simulated: bool
    invented: bool = False
    elsewhere: bool = False
    stand: Short
    guards_itself: bool
    scales: Annotated[tuple[ScaleTold, ...], Field(max_length=3)]
    proof: Literal["real pulses", "zero throttle", "none"]
    proof_words: Sentence
    ended: Short
    data: Short
    air_noted: bool
    record: Literal["re-read", "tables only", "damaged", "changed"]
    words: Sentence


class FindingTold(Table):
    """A finding: the sentence, and the figure in its unit."""

    id: Short
    sentence: Sentence
    value: Number | None = None
    unit: Short = ""
    low: Number | None = None
    high: Number | None = None


class Entry(Table):
    """What a club keeps of a run.

    Attributes:
        format: version of this layout.
        run: the run's name.
        utc: when it began.
        protocol: what was run.
        article: what was tested.
        stand: key of the stand: the same key is the same stand.
        scale: key of the stand with its calibrations: runs with the same one share the
            errors of their scales.
        density_kg_m3: of the air; None where it was not noted.
        full: the plateau of highest thrust.
        hover: on the aircraft that the article names.
        curves: as far as it has them.
        findings: what the run says.
        evidence: what all of it rests on.
    """

    format: Literal[1]
    run: Short
    utc: Date
    protocol: Short
    article: ArticleTold
    stand: Key
    scale: Key
    density_kg_m3: Annotated[float, Field(gt=0.3, lt=3)] | None = None
    full: FullTold | None = None
    hover: HoverTold | None = None
    curves: Curves
    findings: Annotated[tuple[FindingTold, ...], Field(max_length=80)] = ()
    evidence: EvidenceTold

    def to_dict(self) -> dict[str, Any]:
        """Plain values for JSON; what is not known is left out."""
        return self.model_dump(mode="json", exclude_none=True)


def key_of(content: object) -> str:
    """Sixteen digits that stand for a JSON value: the same value, the same digits."""
    text = json.dumps(content, sort_keys=True, ensure_ascii=True, allow_nan=False)
    return hashlib.sha256(text.encode()).hexdigest()[:16]


def read_entry(text: bytes, where: str) -> Entry:
    """An entry out of JSON that somebody sent.

    Raises:
        InputFault: it is none; says where and what is wrong.
    """
    if len(text) > MOST_BYTES:
        raise InputFault(f"{where} is larger than an entry can be.")
    try:
        return Entry.model_validate_json(text)
    except ValidationError as fault:
        raise InputFault(told(fault, Entry, where)) from None
