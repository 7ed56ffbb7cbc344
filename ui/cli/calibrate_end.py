"""How a calibration at the terminal ends: kept, a verdict, or left unfinished.

What was read is never lost: a calibration that is left before its end keeps its
readings, to go on from.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Final

from daq.errors import InputFault
from ui.cli.text import labelled, wrapped

if TYPE_CHECKING:
    from daq.calibration.readings import Reading
    from daq.calibration.reference import Reference
    from daq.calibration.value import Calibration
    from ui.calibrating import Calibrating
    from ui.simulated_scale import SimulatedScale

NOT_PASSED: Final = 1


class End:
    """What becomes of what was read."""

    def __init__(
        self,
        args: argparse.Namespace,
        model: Calibrating,
        say: Callable[[str], None],
    ) -> None:
        """For one walk.

        Args:
            args: as typed.
            model: that is walked.
            say: tells a person.
        """
        self._args = args
        self._model = model
        self._say = say

    def keep(self, made: Calibration) -> int:
        """Keep it and tell it; the exit status.

        Raises:
            WorldFault: it cannot be written.
        """
        from daq.calibration.text import to_dict, to_text
        from daq.fresh_file import write_fresh
        from daq.records.kept import keep
        from ui.calibration_words import told, worse
        from ui.calibrations import kept_calibrations

        caution = worse(made, kept_calibrations())
        path = keep(made.id, to_text(made))
        if self._args.out is not None:
            write_fresh(self._args.out, to_text(made).encode())
        if self._args.json:
            print(json.dumps({"file": str(path), "calibration": to_dict(made)}))
            return 0
        self._say("")
        for label, words in told(made):
            print(labelled(label, words, width=14))
        print(labelled("kept", f"{path}; the next spin uses it", width=14))
        if caution:
            print(labelled("caution", caution, width=14))
        return 0

    # ------------------------------------------------------------ checks

    def kept(self, hands: SimulatedScale | None) -> Calibration:
        """The kept calibration that a check is held against.

        Raises:
            InputFault: there is none.
        """
        from ui.calibrations import kept_calibrations, latest

        stand = self._model.stand
        stand_id = 0 if stand is None else stand.identity.stand_id
        specimen = "" if hands is None else hands.specimen
        channel = self._model.channel
        made = latest(kept_calibrations(), channel, stand_id, specimen)
        if made is None:
            raise InputFault(
                f"No calibration of {channel} is kept for this stand, so there "
                "is nothing to check: calibrate first."
            )
        return made

    def verdict(
        self, made: Calibration, reference: Reference, readings: Sequence[Reading]
    ) -> int:
        """Hold what was read against a calibration; the exit status."""
        from daq.calibration.check import checked
        from daq.calibration.use import used
        from daq.machine_clock import utc_now
        from daq.records.kept import add_check

        now = utc_now().isoformat(timespec="seconds")
        found = checked(used(made, now), reference, readings)
        said = {
            "utc": now,
            "name": found.name,
            "known_si": found.known_si,
            "read_si": found.read_si,
            "difference_rel": found.difference_rel,
            "allowed_rel": found.allowed_rel,
            "passed": found.passed,
        }
        add_check(made.id, said)
        if self._args.json:
            print(json.dumps({"calibration": made.id} | said))
        else:
            self._say(labelled("check", found.sentence()))
            self._say(labelled("against", made.id))
        return 0 if found.passed else NOT_PASSED

    # ------------------------------------------------------------ left unfinished

    def keep_unfinished(self) -> None:
        """Keep what was read, for --resume.

        Raises:
            WorldFault: it cannot be written.
        """
        from daq.machine_clock import utc_now
        from daq.records.kept import keep_unfinished

        model = self._model
        text = model.unfinished(utc_now().isoformat(timespec="seconds"))
        if not text or self._args.check:
            return
        path = keep_unfinished(model.channel, text)
        count = len(model.readings)
        what = "1 reading is" if count == 1 else f"{count} readings are"
        self._say(wrapped(f"{what} kept in {path}; go on with --resume."))

    def resume(self, path: Path) -> None:
        """Go on from a calibration that was left.

        Raises:
            InputFault: it is none, or of another channel or stand.
        """
        from daq.calibration.text import unfinished_from
        from daq.text_file import read_text

        stand = self._model.stand
        stand_id = 0 if stand is None else stand.identity.stand_id
        readings, typed = unfinished_from(
            read_text(path), str(path), self._model.channel, stand_id
        )
        kept = self._model.resume(readings, typed)
        self._say(
            f"{kept} of {len(readings)} readings go on; a series that was not ended "
            "begins anew."
        )
