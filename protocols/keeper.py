"""The keeper: the one loop with I/O, in a process of its own.

Owns the port, the control and the wire log. Reader threads stamp what comes
into one queue; one loop waits on it until the next deadline, asks the control
and does what comes out: first the port, then the record. Syncing to the disk
happens in a thread of its own, since it can stall and may never delay a lease.

``python -m protocols.keeper`` speaks JSON lines: the first line on standard
input is the start order, later ones are orders (``beat``, ``go``,
``acknowledge``, ``stop``); the end of input is a stop. It answers on standard
output with one line that names the run's folder, and one when it ends. Clients
follow the run by reading the wire log. SIGINT is ignored, since ctrl-C reaches
the whole group and the client stops in order; SIGTERM stops and seals.
"""

import json
import os
import signal
import sys
import threading
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from queue import Empty, SimpleQueue
from typing import IO

from daq.clock import Clock
from daq.errors import GramwattError, InputFault, RecordFault
from daq.link.columns.stand_in import stop_words
from daq.link.messages import Stop, StopReason
from daq.link.ports import DEFAULT_BAUD, Port, PortLost, open_port
from daq.machine_clock import MachineClock
from daq.records import folder as folders
from daq.records.wirelog import INTRODUCTION, NAME, Kind, Record, WireLog, to_json
from protocols import plain
from protocols.control import Control
from protocols.last_word import THERE_IS_ONE, LastWord
from protocols.phases import BEFORE_ARMING, Outputs, Phase
from protocols.task import Task

SYNC_PERIOD_S = 0.4
SYNC_WAIT_S = 2.0
WAIT_MAX_S = 0.25
LAST_RESORT_STOPS = 5
ORDER_MAX = 4_096  # bytes a line
FORMAT = 1
UNWATCHED = (
    "This program hung and stop was said in its place, or the process that would have "
    "said it is gone."
)


class Keeper:
    """Runs one task on one port into one wire log.

    Attributes:
        control: the pure core.
        disk_fault: why the record stopped, or "" while it is being written.
    """

    def __init__(
        self,
        control: Control,
        port: Port,
        log: WireLog,
        clock: Clock,
        last_word: LastWord | None = None,
    ) -> None:
        self.control = control
        self.disk_fault = ""
        self._last_word = last_word
        self._port = port
        self._log = log
        self._clock = clock
        self._arrivals: SimpleQueue[Record] = SimpleQueue()
        self._over = threading.Event()

    # --------------------------------------------------------- what comes in

    def now_ns(self) -> int:
        """The keeper's clock in whole nanoseconds, as the record keeps it."""
        return int(self._clock.now_s() * 1e9)

    def put(self, kind: Kind, data: bytes) -> None:
        """Queue something that came in; safe from any thread."""
        self._arrivals.put(Record(kind, self.now_ns(), data))

    def read_port(self) -> None:
        """Thread: bytes from the port into the queue until it is gone."""
        while not self._over.is_set():
            try:
                data = self._port.read()
            except PortLost as lost:
                self.put(Kind.LOST, str(lost).encode())
                return
            if data:
                self.put(Kind.BYTES_IN, data)

    def read_orders(self, source: IO[bytes]) -> None:
        """Thread: the client's orders into the queue; its end is a stop."""
        gone = {"order": "stop", "why": "The program in front of the person is gone."}
        try:
            while line := source.readline(ORDER_MAX):
                self.put(Kind.ORDER, line.strip())
        finally:
            self.put(Kind.ORDER, to_json(gone))

    def sync_log(self) -> None:
        """Thread: the record onto the disk, twice a second."""
        while not self._over.wait(SYNC_PERIOD_S):
            try:
                self._log.sync()
            except (OSError, ValueError) as fault:  # ValueError: closed meanwhile
                self._disk_failed(fault)
                return

    # --------------------------------------------------------- the loop

    def run(self) -> None:
        """Until the control has its outcome; the motor is stopped by then."""
        try:
            self._take(Record(Kind.TICK, self.now_ns(), b""))
            while self.control.phase is not Phase.ENDED:
                self._take(self._next())
        finally:
            self._over.set()
            if self.control.phase is not Phase.ENDED or self.control.link_is_lost:
                self._last_resort()

    def _next(self) -> Record:
        """What came in, or that the next deadline came first."""
        now_s = self.now_ns() * 1e-9
        wait_s = min(max(self.control.deadline_s - now_s, 0.0), WAIT_MAX_S)
        try:
            return self._arrivals.get(timeout=wait_s)
        except Empty:
            return Record(Kind.TICK, self.now_ns(), b"")

    def _take(self, came: Record) -> None:
        if not self._beat():
            # It died, or said stop because this program hung; either way no throttle
            # may leave here any more, however old what came in is.
            self._last_word = None
            stop = to_json({"order": "unwatched", "why": UNWATCHED})
            self._take(Record(Kind.ORDER, came.time_ns, stop))
        outputs = give(self.control, came.kind, came.time_ns, came.data)
        self._beat()  # before the port is told: from now on it may turn
        self._did(came.kind, came.time_ns, came.data, outputs)

    def _beat(self) -> bool:
        """Whether this program is watched over, where it has to be."""
        if self._last_word is None:
            return True
        control = self.control
        rests = control.phase in BEFORE_ARMING or stopped_for_sure(control)
        return self._last_word.beat(may_turn=not rests)

    def _last_resort(self) -> None:
        """The loop ended early, or the port took nothing: one more try to stop."""
        now_s = self.now_ns() * 1e-9
        stop = self.control.session.send(Stop(StopReason.FAULT), now_s)
        for _ in range(LAST_RESORT_STOPS):
            try:
                self._port.write(stop)
            except PortLost:
                return  # the lease ends by itself

    def _did(self, kind: Kind, time_ns: int, data: bytes, outputs: Outputs) -> None:
        """Do what came out, the port first, then put both on record."""
        for write in outputs.writes:
            try:
                self._port.write(write)
            except PortLost as lost:
                self.put(Kind.LOST, str(lost).encode())
                break
        if kind is Kind.TICK and not outputs:
            return
        self._record(kind, time_ns, data)
        for write in outputs.writes:
            self._record(Kind.BYTES_OUT, time_ns, write)
        for note in outputs.notes:
            self._record(Kind.NOTE, time_ns, to_json(note))

    def _record(self, kind: Kind, time_ns: int, data: bytes) -> None:
        if self.disk_fault:
            return
        try:
            self._log.append(kind, time_ns, data)
        except OSError as fault:
            self._disk_failed(fault)

    def _disk_failed(self, fault: OSError | ValueError) -> None:
        """Without a record there is no run: stop, and go on without writing."""
        if self._over.is_set():
            return  # the run is over and its log closed
        self.disk_fault = getattr(fault, "strerror", None) or str(fault)
        stop = {"order": "record lost", "why": self.disk_fault}
        self.put(Kind.ORDER, to_json(stop))


def stopped_for_sure(control: Control) -> bool:
    """Whether it is over, and the motor was seen at rest."""
    return control.outcome is not None and control.outcome.stop_confirmed


def give(control: Control, kind: Kind, time_ns: int, data: bytes) -> Outputs:
    """Hand one recorded or fresh input to the control.

    The one place that does, so that a replay does exactly what the keeper did.
    """
    now_s = time_ns * 1e-9
    if kind is Kind.BYTES_IN:
        return control.receive(data, now_s)
    if kind is Kind.LOST:
        return control.link_lost(data.decode(errors="replace"))
    if kind is Kind.TICK:
        return control.tick(now_s)
    try:
        order = json.loads(data)
    except (ValueError, RecursionError):
        order = None
    if not isinstance(order, dict):
        order = {"order": "unreadable"}
    return control.order(order, now_s)


# -------------------------------------------------------------- the process


@dataclass(frozen=True, slots=True)
class Start:
    """The start order.

    Attributes:
        port: what to open.
        baud: symbols a second.
        out: folder that gets the run's folder.
        name: name of the run's folder.
        task: what to do.
        header: facts for the record: UTC, article, versions, simulated or not.
    """

    port: str
    baud: int
    out: Path
    name: str
    task: Task
    header: Mapping[str, object]


def read_start(line: str | bytes) -> Start:
    """The first line on standard input.

    Raises:
        InputFault: it is no start order.
    """
    try:
        row = json.loads(line)
        return Start(
            port=str(row["port"]),
            baud=plain.whole({"baud": DEFAULT_BAUD} | row, "baud", "the start order"),
            out=Path(row["out"]),
            name=str(row["name"]),
            task=Task.from_dict(row["task"]),
            header=dict(row["header"]),
        )
    except (ValueError, KeyError, TypeError, RecursionError) as fault:
        raise InputFault(f"The start order cannot be read: {fault!r}.") from None


def keep(start: Start, orders: IO[bytes], clock: Clock) -> dict[str, object]:
    """Open, run, seal; what to tell the client at the end.

    Raises:
        GramwattError: the port or the folder could not be opened.
    """
    port = open_port(start.port, start.baud)
    try:
        last_word = _last_word(start.task, port)
        header = dict(start.header) | {
            "format": FORMAT,
            "port": start.port,
            "monotonic_ns": int(clock.now_s() * 1e9),
            "task": start.task.to_dict(),
        }
        if start.task.stand is not None:
            header["last_word"] = last_word is not None
        folder = folders.create(start.out, start.name, header)
        log = _open_log(folder, header)
        _say({"folder": str(folder)})
        control = Control(start.task, start.port)
        keeper = Keeper(control, port, log, clock, last_word)
        syncs = _listen(keeper, orders)
        keeper.run()
        syncs.join(SYNC_WAIT_S)  # the log is closed next, under nobody's hands
        if last_word is not None and stopped_for_sure(control):
            last_word.farewell()
        elif last_word is not None:
            last_word.hand_over()
    finally:
        port.close()
    return _close(keeper, log, folder)


def _last_word(task: Task, port: Port) -> LastWord | None:
    """For a stand that has no lease; None where it has, or the system allows none.

    Raises:
        GramwattError: it cannot be started.
    """
    stand, descriptor = task.stand, port.descriptor
    text = b"" if stand is None else stop_words(stand)
    if not text or descriptor is None or not THERE_IS_ONE:
        return None
    try:
        return LastWord(descriptor, text)
    except OSError as fault:
        why = fault.strerror or str(fault)
        raise GramwattError(
            f"The process that stops the motor if this one dies did not start: {why}."
        ) from None


def _open_log(folder: Path, header: Mapping[str, object]) -> WireLog:
    log = None
    try:
        log = WireLog(folder / NAME)
        log.append(Kind.HEADER, int(str(header["monotonic_ns"])), to_json(header))
    except OSError as fault:
        if log is not None:
            log.close()
        why = fault.strerror or str(fault)
        raise GramwattError(
            f"The record in {folder} cannot be written: {why}."
        ) from None
    return log


def _listen(keeper: Keeper, orders: IO[bytes]) -> threading.Thread:
    """Start the threads and take SIGTERM as a stop; gives the one that syncs."""

    def terminated(_number: int, _frame: object) -> None:
        why = {"order": "stop", "why": "The keeper was told to terminate."}
        keeper.put(Kind.ORDER, to_json(why))

    signal.signal(signal.SIGTERM, terminated)
    syncs = threading.Thread(target=keeper.sync_log, daemon=True)
    hears = threading.Thread(target=keeper.read_port, daemon=True)
    obeys = threading.Thread(target=keeper.read_orders, args=(orders,), daemon=True)
    for thread in (hears, obeys, syncs):
        thread.start()
    return syncs


def _close(keeper: Keeper, log: WireLog, folder: Path) -> dict[str, object]:
    """End record, sync and seal; the outcome for the client."""
    outcome = keeper.control.outcome
    told: dict[str, object] = outcome.to_dict() if outcome else {}
    if not keeper.disk_fault:
        try:
            log.append(Kind.END, keeper.now_ns(), end_of(keeper.control))
            log.sync()
            log.close()
            folders.seal(folder, told, simulated=keeper.control.simulated)
        except OSError as fault:
            keeper.disk_fault = fault.strerror or str(fault)
        except RecordFault as fault:  # somebody sealed or took it meanwhile
            keeper.disk_fault = str(fault)
    log.close()
    return {"outcome": told, "sealed": not keeper.disk_fault}


def end_of(control: Control) -> bytes:
    """The last record: the outcome, and who the stand was in case it gets lost."""
    outcome, stand = control.outcome, control.session.stand
    told: dict[str, object] = outcome.to_dict() if outcome else {}
    if stand is not None:
        told[INTRODUCTION] = stand.introduction().hex()
    return to_json(told)


def _say(line: Mapping[str, object]) -> None:
    """One line to the client; a client that is gone is told nothing."""
    try:
        sys.stdout.write(json.dumps(line) + "\n")
        sys.stdout.flush()
    except OSError:
        pass  # its absence reaches the loop as the end of its orders


def main() -> int:
    """Keep one run: 0 when it ended with an outcome, 1 when it never began."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    if hasattr(signal, "SIGHUP"):
        # A terminal that closes takes the client along, and its orders end.
        signal.signal(signal.SIGHUP, signal.SIG_IGN)
    # Not sys.stdin: its lock, held by the reading thread, blocks a dying interpreter.
    orders = os.fdopen(0, "rb", closefd=False)
    try:
        start = read_start(orders.readline())
        _say(keep(start, orders, MachineClock()))
    except GramwattError as fault:
        _say({"error": str(fault)})
        return 1
    except ValueError as fault:  # a path or a header that no file can hold
        _say({"error": f"The start order cannot be carried out: {fault}."})
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
