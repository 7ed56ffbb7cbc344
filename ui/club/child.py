"""The process that looks into strangers' files: bounded in time, memory and disk.

``python -m ui.club.child``: a line of JSON names a bundle and an empty folder, a line
of JSON says what was found, until its input ends. Whatever goes wrong with a bundle is
a refusal with a sentence; the worst that it can do is end this process. Memory and the
size of files are bounded by the system where it can (not on Windows); time is bounded
by whoever started it: when that one is gone, this one goes.
"""

from __future__ import annotations

import json
import os
import sys
import threading
from pathlib import Path
from typing import Final

#: Address space: what the libraries reserve, and what a long run takes.
MOST_MEMORY: Final = 3_000_000_000
#: One file that it writes.
MOST_FILE: Final = 500_000_000
MOST_OPEN: Final = 128
#: So often it looks whether whoever started it is still there.
LOOK_S: Final = 0.5


def bounded() -> None:
    """Have the system bound what this process may take, as far as it can."""
    try:
        import resource
    except ImportError:  # a system without such bounds
        return
    for kind, most in (
        (resource.RLIMIT_AS, MOST_MEMORY),
        (resource.RLIMIT_FSIZE, MOST_FILE),
        (resource.RLIMIT_NOFILE, MOST_OPEN),
        (resource.RLIMIT_CORE, 0),
    ):
        _, hard = resource.getrlimit(kind)
        allowed = most if hard == resource.RLIM_INFINITY else min(most, hard)
        try:
            resource.setrlimit(kind, (allowed, allowed))
        except (ValueError, OSError):
            continue  # some systems name a bound that they do not take


def answer(line: str) -> dict[str, object]:
    """What the check of one bundle says."""
    from daq.errors import GramwattError, WorldFault
    from ui.club.checking import as_json, check_bundle

    asked = json.loads(line)
    try:
        found = check_bundle(Path(asked["bundle"]), Path(asked["scratch"]))
    except WorldFault as fault:  # no fault of the bundle's
        return {"failed": str(fault).rstrip(".")}
    except GramwattError as fault:
        return {"refused": str(fault)}
    except OSError as fault:
        return {"failed": fault.strerror or type(fault).__name__}
    except MemoryError:
        return {"refused": "it takes more memory than any bundle needs", "spent": True}
    except Exception as fault:  # noqa: BLE001 - whatever a stranger's bytes bring about
        # No bundle of ours does this. What it was, is for whoever mends it.
        kind = type(fault).__name__
        return {"refused": f"it cannot be read as a bundle ({kind})", "spent": True}
    return {"checked": as_json(found)}


def main() -> int:
    """Answer until the input ends."""
    bounded()
    for line in sys.stdin:
        said = answer(line)
        # Only what is plain: whoever reads this takes it line by line.
        sys.stdout.write(json.dumps(said, ensure_ascii=True, allow_nan=False) + "\n")
        sys.stdout.flush()
        if said.get("spent"):
            return 1  # what it left behind here nobody knows: begin anew
    return 0


def go_with(parent: int) -> None:
    """End this process, whatever it is at, once its parent is another one.

    Whoever was killed ended no child, and nobody else bounds its time.
    """
    wait = threading.Event().wait
    while os.getppid() == parent:
        wait(LOOK_S)
    os._exit(1)


if __name__ == "__main__":
    threading.Thread(target=go_with, args=(os.getppid(),), daemon=True).start()
    sys.exit(main())
