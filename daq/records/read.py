"""A run read back: raw counts, decisions and outcome, out of its wire log.

The same session code that heard the run live hears it again, so what is read
here is what was acted on. Raw stays raw: counts and device time, no constants
applied. A damaged or unfinished record is read as far as it goes and says what
is missing.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import numpy.typing as npt

from daq.errors import InputFault, RecordFault
from daq.link import session as s
from daq.link.columns.description import Description, read_description
from daq.link.conversation import conversation_with
from daq.link.framing import DELIMITER
from daq.link.messages import Ability, ChannelPage
from daq.records import folder as folders
from daq.records.wirelog import INTRODUCTION, NAME, Damage, Kind, Reader, Record

ADOPTED = "adopted"  # in the header of a run made of a log


@dataclass(frozen=True, slots=True)
class Stream:
    """The samples of one stream.

    Attributes:
        index: its number on the stand.
        period_s: nominal time from sample to sample.
        channels: its channels, in the order of the columns.
        device_s: shape (n,), device time, unwrapped, float64.
        counts: shape (n, channels), raw counts, int64.
    """

    index: int
    period_s: float
    channels: tuple[ChannelPage, ...]
    device_s: npt.NDArray[np.float64]
    counts: npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Decision:
    """One note of the record.

    Attributes:
        time_s: host time since the record's first entry.
        note: the note; ``note["note"]`` names its kind.
    """

    time_s: float
    note: Mapping[str, object]


@dataclass(frozen=True, slots=True)
class Gap:
    """A damaged place of the log: what was decided there is not known.

    Attributes:
        decisions: how many notes were read before it.
        device_s: newest device time of a sample before it; 0 before the first.
    """

    decisions: int
    device_s: float


@dataclass(frozen=True, slots=True)
class Hold:
    """A stretch of the plan as it was walked, on the stand's clock.

    Attributes:
        kind: rest, ramp, settle or dwell.
        leg: up, down or rest.
        step: index of the level; -1 at rest.
        throttle_frac: throttle at its end.
        start_s: device time when it began.
        end_s: device time when it ended, early where the run was cut; where the
            log is damaged, the last that is known to belong to it.
    """

    kind: str
    leg: str
    step: int
    throttle_frac: float
    start_s: float
    end_s: float


@dataclass(frozen=True, slots=True)
class Run:
    """A run read back.

    Attributes:
        folder: where it is.
        header: what the run was to be.
        descriptor: the Data Package descriptor.
        sealed: whether the log is sealed.
        intact: whether the sealed log still has its hash; None when unsealed.
        outcome: how it ended; None when the record stops before its end.
        stand: who the stand said it was; None when it never said.
        streams: its samples.
        decisions: its notes, in order.
        damage: bytes of the log that could not be read.
        gaps: where that was.
        health: what the link lost, and with the damaged places of the log.
        drops: frames that were damaged on the wire, or cut by those places.
        described: what its stand prints, where it prints lines; it has no guards then.
        not_taken: what arrived and was not used, a sentence with examples; "" for
            nothing.
        blocks: blocks of fast captures, as they came.
    """

    folder: Path
    header: Mapping[str, object]
    descriptor: Mapping[str, object]
    sealed: bool
    intact: bool | None
    outcome: Mapping[str, object] | None
    stand: s.Stand | None
    streams: tuple[Stream, ...]
    decisions: tuple[Decision, ...]
    damage: Damage
    gaps: tuple[Gap, ...]
    health: s.Health
    drops: int
    described: Description | None = None
    not_taken: str = ""
    blocks: tuple[s.BurstTold, ...] = ()

    @property
    def whole(self) -> bool:
        """Whether the record has all that was written: undamaged, unchanged, ended."""
        unchanged = not self.damage.places and self.intact is not False
        return unchanged and self.outcome is not None

    @property
    def simulated(self) -> bool:
        """Whether nothing turned: by the client that started it, or the stand's word.

        The stand's word labels its data; it waives nothing.
        """
        claims = self.stand is not None and (
            Ability.SIMULATED in self.stand.identity.abilities
        )
        return claims or self.header.get("simulated") is True

    @property
    def adopted(self) -> Mapping[str, object] | None:
        """The log it was made of, where it was recorded elsewhere."""
        log = self.header.get(ADOPTED)
        return log if isinstance(log, dict) else None

    def notes(self, *kinds: str) -> Iterator[Decision]:
        """The notes of one kind or some, in order."""
        return (d for d in self.decisions if d.note.get("note") in kinds)

    def holds(self) -> list[Hold]:
        """The plan as it was walked."""
        marks = [
            (number, decision.note)
            for number, decision in enumerate(self.decisions)
            if decision.note.get("note") in ("segment", "walked", "stop")
        ]
        holds: list[Hold] = []
        for (number, mark), after in zip(marks, [*marks[1:], None], strict=False):
            if mark.get("note") != "segment":
                continue
            start_s = _number(mark, "device_s")
            end_s = _number(after[1], "device_s") if after else self._last_device_s()
            before = after[0] if after else len(self.decisions)
            gap = next((g for g in self.gaps if number < g.decisions <= before), None)
            if gap is not None:
                end_s = min(end_s, gap.device_s)  # its end may have been lost there
            holds.append(
                Hold(
                    kind=str(mark.get("kind")),
                    leg=str(mark.get("leg")),
                    step=int(_number(mark, "step")),
                    throttle_frac=_number(mark, "throttle_frac"),
                    start_s=start_s,
                    end_s=max(start_s, end_s),
                )
            )
        return holds

    def _last_device_s(self) -> float:
        ends = [x.device_s[-1] for x in self.streams if x.device_s.size]
        return float(max(ends, default=0.0))


def _number(note: Mapping[str, object], key: str) -> float:
    value = note.get(key)
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise RecordFault(f"a {note.get('note')} note whose {key} is {value!r}")
    return float(value)


@dataclass(frozen=True, slots=True)
class _Speech:
    """How a stand speaks.

    Attributes:
        described: what it prints, where it prints lines.
        from_log: the lines are those of a log that was recorded elsewhere.
    """

    described: Description | None = None
    from_log: bool = False


@dataclass(slots=True)
class _Columns:
    times: list[float] = field(default_factory=list)
    counts: list[tuple[int, ...]] = field(default_factory=list)


def read_run(folder: Path) -> Run:
    """Read a run's folder, whole, unfinished or damaged.

    What a run cannot be read without is kept twice, so that one damaged place costs
    no more than what was written there: the header also in the descriptor, who the
    stand is also in the end record.

    Raises:
        RecordFault: it is no run folder, or its log has no whole record, or no header.
    """
    if not folder.is_dir():
        raise RecordFault(f"There is no run folder {folder}.")
    content = folders.read_descriptor(folder)
    reader = Reader.open(folder / NAME)
    sealed = folders.is_sealed(content)
    intact = _is_intact(reader.data, content) if sealed else None
    speech = _speech(reader.data, content)
    heard = _hear(reader, speech)
    if heard.stand is None and heard.spare is not None:
        reader = Reader(reader.data)
        heard = _hear(reader, speech, heard.spare)
    if not heard.begun:
        raise RecordFault(f"{folder / NAME} holds no whole record: nothing is left.")
    header = heard.header if heard.header is not None else _header_in(content)
    if header is None:
        raise RecordFault(f"{folder / NAME} has lost its header: it cannot be read.")
    return Run(
        folder=folder,
        header=header,
        descriptor=content,
        sealed=sealed,
        intact=intact,
        outcome=heard.outcome or _noted_outcome(heard.decisions),
        stand=heard.stand,
        streams=_streams(heard.stand, heard.columns),
        decisions=tuple(heard.decisions),
        damage=reader.damage,
        gaps=tuple(heard.gaps),
        health=heard.session.health,
        drops=heard.session.drops,
        described=speech.described,
        not_taken=heard.session.not_taken(),
        blocks=tuple(heard.blocks),
    )


def _speech(data: bytes, content: Mapping[str, object]) -> _Speech:
    """How the stand of a log speaks, by its header.

    Raises:
        RecordFault: it prints lines, but this version cannot read their description.
    """
    first = next(iter(Reader(data).records()), None)
    whole = first is not None and first.kind is Kind.HEADER
    header = first.json() if first is not None and whole else _header_in(content)
    task = (header or {}).get("task")
    lines = task.get("lines") if isinstance(task, dict) else None
    if lines is None:
        return _Speech()
    try:
        described = read_description(
            str(lines), "the record's description of its stand"
        )
    except InputFault as fault:
        raise RecordFault(str(fault)) from None
    return _Speech(described, from_log=ADOPTED in (header or {}))


def _hear(reader: Reader, speech: _Speech, stand: s.Stand | None = None) -> "_Assembly":
    """Everything in a log, by a stand's pages where it does not tell them itself."""
    heard = _Assembly(speech, stand)
    places = reader.damage.places
    for record in reader.records():
        if reader.damage.places != places:
            places = reader.damage.places
            heard.missed(record.time_ns)
        heard.take(record)
    if reader.damage.places != places:
        heard.missed(0)
    return heard


def _introduced(wire_hex: object) -> s.Stand | None:
    """The stand of an introduction that was kept; None where it is none."""
    try:
        wire = bytes.fromhex(str(wire_hex))
    except ValueError:
        return None
    session = s.Session()
    session.identify(0.0)
    session.receive(wire, 0.0)
    return session.stand


def _header_in(content: Mapping[str, object]) -> Mapping[str, object] | None:
    facts = content.get("gramwatt")
    header = facts.get("header") if isinstance(facts, dict) else None
    return header if isinstance(header, dict) else None


def _is_intact(data: bytes, content: Mapping[str, object]) -> bool:
    return folders.hash_of_bytes(data) == _hash_in(content)


def _hash_in(content: Mapping[str, object]) -> object:
    resources = content.get("resources")
    first = resources[0] if isinstance(resources, list) and resources else None
    return first.get("hash") if isinstance(first, dict) else None


class _Assembly:
    """Takes a log record by record and keeps what a run is made of.

    Attributes:
        spare: who the stand was, by the end record.
    """

    def __init__(self, speech: _Speech, stand: s.Stand | None = None) -> None:
        self.session = conversation_with(speech.described, from_log=speech.from_log)
        self.header: Mapping[str, object] | None = None
        self.outcome: Mapping[str, object] | None = None
        self.decisions: list[Decision] = []
        self.columns: dict[int, _Columns] = {}
        self.gaps: list[Gap] = []
        self.blocks: list[s.BurstTold] = []
        self.spare: s.Stand | None = None
        self.stand = stand
        self._begin_ns: int | None = None

    @property
    def begun(self) -> bool:
        """Whether there was any record."""
        return self._begin_ns is not None

    def missed(self, time_ns: int) -> None:
        """A damaged place: half a frame before it is no part of what comes after."""
        ends = [column.times[-1] for column in self.columns.values()]
        self.gaps.append(Gap(len(self.decisions), max(ends, default=0.0)))
        self.session.receive(DELIMITER, time_ns * 1e-9)

    def take(self, record: Record) -> None:
        if self._begin_ns is None:
            self._begin_ns = record.time_ns
            self.session.identify(record.time_ns * 1e-9)
            if self.stand is not None:
                self.session.know(self.stand)
        if record.kind is Kind.BYTES_IN:
            self._hear(record)
        elif record.kind is Kind.HEADER:
            self.header = record.json()
        elif record.kind is Kind.NOTE:
            time_s = (record.time_ns - self._begin_ns) * 1e-9
            self.decisions.append(Decision(time_s, record.json()))
        elif record.kind is Kind.END:
            outcome = record.json()
            self.spare = _introduced(outcome.pop(INTRODUCTION, None))
            self.outcome = outcome

    def _hear(self, record: Record) -> None:
        for happening in self.session.receive(record.data, record.time_ns * 1e-9):
            if isinstance(happening, s.Sampled):
                column = self.columns.setdefault(happening.stream, _Columns())
                column.times.append(happening.device_s)
                column.counts.append(happening.counts)
            elif isinstance(happening, s.BurstTold):
                self.blocks.append(happening)
            elif isinstance(happening, s.Identified):
                self.stand = happening.stand


def _noted_outcome(decisions: list[Decision]) -> Mapping[str, object] | None:
    """The outcome as noted, where the end record after it is missing."""
    last = decisions[-1].note if decisions else {}
    if last.get("note") != "outcome":
        return None
    return {key: value for key, value in last.items() if key != "note"}


def _streams(
    stand: s.Stand | None, columns: Mapping[int, _Columns]
) -> tuple[Stream, ...]:
    if stand is None:
        return ()
    streams = []
    for layout in stand.layouts:
        column = columns.get(layout.page.index, _Columns())
        width = len(layout.channels)
        streams.append(
            Stream(
                index=layout.page.index,
                period_s=layout.page.period_us * 1e-6,
                channels=layout.channels,
                device_s=np.array(column.times, dtype=np.float64),
                counts=np.array(column.counts, dtype=np.int64).reshape(-1, width),
            )
        )
    return tuple(streams)
