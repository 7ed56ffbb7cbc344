"""A simulated stand in a process of its own, for as long as it is needed."""

import json
import subprocess
from pathlib import Path

from daq.errors import GramwattError, WorldFault
from daq.own_process import command_of


class SimulatedStand:
    """Serves a simulated stand on a port; ``close`` it, or the port stays.

    Attributes:
        port: what to open.
    """

    def __init__(
        self,
        *,
        truth: Path | None = None,
        faults: Path | None = None,
        seed: int = 1,
        tcp: bool = False,
        plug_in: bool = True,
        bare: bool = False,
        lines: Path | None = None,
        specimen: int | None = None,
        mounting: int | None = None,
        mating: int | None = None,
        capacitor: bool = True,
    ) -> None:
        """Start it and wait until it serves.

        Args:
            truth: the plant's figures; None: those of the demo.
            faults: what goes wrong with it; None: nothing.
            seed: of its noise and of what is random in the faults.
            tcp: serve on loopback TCP instead of a terminal.
            plug_in: whether the arming plug is in at the start.
            bare: whether its motor has no propeller on.
            lines: what it prints, as a sketch would; None: it speaks in frames.
            specimen: which motor and propeller; None: the truth's own.
            mounting: how often it was mounted before; None: as the truth says.
            mating: how often its plug was put together; None: as the truth says.
            capacitor: False: the capacitor on its bus is taken off.

        Raises:
            GramwattError: a file is wrong, or it did not start.
        """
        command = command_of("daq.stand.serve", "--seed", str(seed))
        switches = {
            "--tcp": tcp,
            "--plug-out": not plug_in,
            "--bare": bare,
            "--no-capacitor": not capacitor,
        }
        command += [name for name, wanted in switches.items() if wanted]
        options = {
            "--truth": truth,
            "--faults": faults,
            "--lines": lines,
            "--specimen": specimen,
            "--mounting": mounting,
            "--mating": mating,
        }
        for name, value in options.items():
            if value is not None:
                command += [name, str(value)]
        self._process = subprocess.Popen(
            command,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
            start_new_session=True,  # ctrl-C is not for the stand
        )
        try:
            self.port = str(self._answer()["port"])
        except WorldFault:
            self.close()
            raise WorldFault("The simulated stand did not start.") from None
        except GramwattError:
            self.close()
            raise

    def plug(self, *, inserted: bool) -> None:
        """Put the arming plug in or pull it; done when this returns.

        Raises:
            WorldFault: the stand is gone.
        """
        self._order("plug", "in" if inserted else "out")

    def stop_loop(self, *, closed: bool) -> None:
        """Close or open the stop loop; done when this returns.

        Raises:
            WorldFault: the stand is gone.
        """
        self._order("loop", "closed" if closed else "open")

    def place(self, load_n: float) -> None:
        """Have so many newton on the load cell, and nothing else.

        Raises:
            WorldFault: the stand is gone.
        """
        self._order("load", f"{load_n!r}")

    def bank(self, ohm: float) -> None:
        """Have so many ohm across the bus, and nothing else; infinite: nothing.

        Raises:
            WorldFault: the stand is gone.
        """
        self._order("bank", "off" if ohm == float("inf") else f"{ohm!r}")

    def _order(self, part: str, state: str) -> None:
        if self._process.stdin is not None:
            try:
                self._process.stdin.write(json.dumps({part: state}) + "\n")
                self._process.stdin.flush()
            except (OSError, ValueError):
                pass  # the answer that does not come says so
        self._answer()

    def _answer(self) -> dict[str, object]:
        """The next line that it says.

        Raises:
            WorldFault: it is gone.
            GramwattError: it says what is wrong.
        """
        try:
            line = self._process.stdout.readline() if self._process.stdout else ""
            said = json.loads(line)
        except (OSError, ValueError):
            raise WorldFault("The simulated stand is gone.") from None
        if "error" in said:
            raise GramwattError(str(said["error"]))
        return dict(said)

    def close(self) -> None:
        """End it; the port vanishes."""
        if self._process.stdin is not None:
            try:
                self._process.stdin.close()
            except OSError:
                pass  # it is gone already
        try:
            self._process.wait(2.0)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait()
        if self._process.stdout is not None:
            self._process.stdout.close()
