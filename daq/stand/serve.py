"""Put a simulated stand on a real port, in real time: the thin edge.

One loop moves the device's time along with the machine's, hands it what arrived and
writes what it sent; what nobody reads is dropped whole and counted, as a
serial line would lose it. Run as ``python -m daq.stand.serve`` it prints its
port as one JSON line and ends when its standard input does. Until then each line
there is an order for a person's hand, such as ``{"plug": "out"}``, answered by one
line when it is done.
"""

import argparse
import json
import sys
import threading
from collections.abc import Callable, Sequence
from concurrent.futures import Future
from functools import partial
from pathlib import Path
from typing import Generic, Protocol, TypeAlias, TypeVar

from daq.clock import Clock
from daq.errors import GramwattError, InputFault, WorldFault
from daq.link.columns.description import read_description
from daq.machine_clock import MachineClock
from daq.stand.device import TICK_S
from daq.stand.endpoint import Endpoint, open_endpoint
from daq.stand.faults.stand import FaultyStand
from daq.stand.hands import by_hand, lines_of, order_of
from daq.stand.lines import LineStand
from daq.text_file import read_text

CATCH_UP_TICKS = 10  # device time between two looks at the input, at most
WAIT_S = 0.001
ANSWER_S = 0.1  # between two looks at whether the server still runs

Simulated: TypeAlias = FaultyStand | LineStand
Answer = TypeVar("Answer")
Kind = TypeVar("Kind", bound="Served")


class Served(Protocol):
    """What is put on a port: a stand of any kind.

    Attributes:
        unsent: frames or lines that nobody read.
    """

    unsent: int

    def receive(self, data: bytes) -> None:
        """Take bytes from the host."""
        ...

    def advance(self, ticks: int = 1) -> bytes:
        """Run for so many milliseconds; what it sent meanwhile."""
        ...


class Server(Generic[Kind]):
    """Runs a device in real time behind an endpoint until told to end.

    Attributes:
        device: the device; touch it only through ``between_ticks``.
        name: what the host opens.
    """

    def __init__(self, device: Kind, endpoint: Endpoint, clock: Clock) -> None:
        self.device = device
        self.name = endpoint.name
        self._endpoint = endpoint
        self._clock = clock
        self._ended = threading.Event()
        self._asked: list[Callable[[Kind], object]] = []
        self._lock = threading.Lock()

    def between_ticks(self, act: Callable[[Kind], object]) -> None:
        """Have ``act`` done to the device by the serving loop: a side door."""
        with self._lock:
            self._asked.append(act)

    def ask(self, act: Callable[[], Answer]) -> Answer:
        """Have something done by the serving loop, and wait until it is done.

        Raises:
            GramwattError: what ``act`` raised, or the server has ended.
        """
        answer: Future[Answer] = Future()

        def do(_: Kind) -> None:
            try:
                answer.set_result(act())
            except GramwattError as fault:
                answer.set_exception(fault)

        self.between_ticks(do)
        while not self._ended.is_set():
            try:
                return answer.result(ANSWER_S)
            except TimeoutError:
                continue
        raise WorldFault("The simulated stand has ended.")

    def end(self) -> None:
        """Let ``run`` return and take the port away."""
        self._ended.set()

    def run(self) -> None:
        """Serve until ``end``."""
        begin_s = self._clock.now_s()
        done = 0
        try:
            while not self._ended.is_set():
                arrived = self._endpoint.read(WAIT_S)
                if arrived:
                    self.device.receive(arrived)
                self._side_door()
                due = int((self._clock.now_s() - begin_s) / TICK_S) - done
                ticks = min(due, CATCH_UP_TICKS)
                if ticks <= 0:
                    continue
                sent = self.device.advance(ticks)
                done += ticks
                if sent and not self._endpoint.write(sent):
                    self.device.unsent += 1
        finally:
            self._endpoint.close()

    def _side_door(self) -> None:
        with self._lock:
            asked, self._asked = self._asked, []
        for act in asked:
            act(self.device)


#: The number of the stand that the first seed makes.
FIRST_STAND = 0x7E51


def build(
    truth: Path | None,
    seed: int,
    faults: Path | None = None,
    *,
    plug_in: bool = True,
    bare: bool = False,
    specimen: int | None = None,
    mounting: int | None = None,
    mating: int | None = None,
    capacitor: bool = True,
) -> FaultyStand:
    """A stand over the plant of a truth file, or of the shipped one.

    Args:
        truth: the plant's figures; None: the shipped ones.
        seed: of the noise, and of what is random in the faults.
        faults: what goes wrong; None: nothing.
        plug_in: whether the arming plug is in at the start.
        bare: whether the motor has no propeller on.
        specimen: which motor and propeller of those that the truth's scatter gives;
            None: the truth's own.
        mounting: how often it was mounted before, each time a little differently;
            None: as the truth says. The stand stays what its seed makes it.
        mating: how often its plug was put together before; None: as the truth says.
        capacitor: False: the capacitor on its bus is taken off.

    Raises:
        InputFault: a file is missing or wrong, the truth says nothing of scatter, or
            has no capacitor to take off.
    """
    from daq.stand.faults.catalogue import read_faults
    from daq.stand.plant.bench import Plant
    from daq.stand.plant.drawn import drawn, with_gains, without_capacitor
    from daq.stand.plant.truth import load_truth, shipped_truth

    facts = load_truth(truth) if truth else shipped_truth("indoor_quad")
    suffered = read_faults(faults) if faults else ()
    noise = seed
    if any(number is not None for number in (specimen, mounting, mating)):
        facts = drawn(with_gains(facts, seed), specimen, mounting, seed, mating)
        noise = NOISES_A_STAND * seed + (mounting or 0)
        noise += NOISES_A_MATING * (mating or 0)
    if not capacitor:
        facts = without_capacitor(facts)
    plant = Plant(facts, noise, plug_in=plug_in)
    # Another seed has other sensors, so it is another stand, and says so.
    number = (FIRST_STAND + seed - 1) % 2**32
    return FaultyStand(plant, suffered, seed=seed, bare=bare, stand_id=number)


NOISES_A_STAND = 1000
"""Seeds of noise that belong to one stand, one a mounting."""
NOISES_A_MATING = 50
"""Those of a mating among them: so many mountings are told from it."""


def printing(stand: FaultyStand, description: Path) -> LineStand:
    """The same stand with a program that prints lines.

    Args:
        stand: the hardware, its faults on motor and sensors at work.
        description: what it prints.

    Raises:
        InputFault: the description is missing or wrong, or a fault is of a line.
    """
    from daq.stand.faults.wire import WireFault

    text = read_text(description)
    if any(isinstance(fault, WireFault) for fault in stand.faults):
        raise InputFault(
            "faults of the line between stand and host are simulated for stands with "
            "frames only; leave them out of the faults file."
        )
    described = read_description(text, str(description))
    return LineStand(stand, described, heeds_keep_alive=True)


def as_asked(options: argparse.Namespace) -> tuple[FaultyStand, Simulated]:
    """What ``add_arguments``, or options of the same names, ask for.

    Returns:
        The hardware, and what speaks on its line: itself, or what prints lines.

    Raises:
        InputFault: a file is missing or wrong, or they do not go together.
    """
    hardware = build(
        options.truth,
        options.seed,
        options.faults,
        plug_in=not options.plug_out,
        bare=options.bare,
        specimen=options.specimen,
        mounting=options.mounting,
        mating=options.mating,
        capacitor=not options.no_capacitor,
    )
    if options.lines is None:
        return hardware, hardware
    return hardware, printing(hardware, options.lines)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What a simulated stand can be asked for."""
    parser.add_argument("--truth", type=Path, metavar="FILE", help="its figures, TOML")
    parser.add_argument("--faults", type=Path, metavar="FILE", help="its faults, TOML")
    parser.add_argument("--seed", type=int, default=1, help="of its noise (default 1)")
    parser.add_argument("--plug-out", action="store_true", help="arming plug out")
    parser.add_argument("--bare", action="store_true", help="propeller off")
    parser.add_argument("--lines", type=Path, metavar="FILE", help="prints lines")
    parser.add_argument("--specimen", type=int, metavar="N", help="which motor")
    parser.add_argument("--mounting", type=int, metavar="N", help="which mounting")
    parser.add_argument(
        "--mating", type=int, metavar="N", help="which mating of the plug"
    )
    parser.add_argument(
        "--no-capacitor", action="store_true", help="capacitor on its bus taken off"
    )
    parser.add_argument("--tcp", action="store_true", help="loopback TCP, no terminal")


def main(arguments: Sequence[str] | None = None) -> int:
    """Serve until standard input ends; 1 with a sentence when it cannot."""
    parser = argparse.ArgumentParser(prog="python -m daq.stand.serve")
    add_arguments(parser)
    options = parser.parse_args(arguments)
    try:
        _, stand = as_asked(options)
    except GramwattError as fault:
        _say(error=str(fault))
        return 1
    server = Server(stand, open_endpoint(tcp=options.tcp), MachineClock())
    _say(port=server.name)

    def obey_until_input_ends() -> None:
        for line in lines_of(0):
            try:
                part, state = order_of(line)
                told = server.ask(partial(by_hand, stand, part, state))
            except GramwattError as fault:
                _say(error=str(fault))
            else:
                _say(done={part: state}, told=told)
        server.end()

    threading.Thread(target=obey_until_input_ends, daemon=True).start()
    try:
        server.run()
    except KeyboardInterrupt:
        server.end()
    return 0


def _say(**facts: object) -> None:
    sys.stdout.write(json.dumps(facts) + "\n")
    sys.stdout.flush()


if __name__ == "__main__":
    sys.exit(main())
