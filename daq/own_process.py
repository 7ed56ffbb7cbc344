"""How a module of ours is started as a process of its own.

With ``-m`` alone Python looks for modules where the person stands first, so that a file
of theirs, or one that came with a download, would run in place of ours.
"""

import sys


def command_of(module: str, *arguments: str) -> list[str]:
    """The command that runs one of our modules with this very interpreter."""
    return [sys.executable, "-P", "-m", module, *arguments]
