"""Where this platform keeps what a person made, and what a program remembers.

The one module that knows the platforms' folders. Nothing is made or read here.
"""

import os
import sys
from pathlib import Path
from typing import Final

NAME: Final = "gramwatt"
APPLE: Final = ("Library", "Application Support")


def data_folder() -> Path:
    """Where this platform keeps what a person made.

    ``GRAMWATT_DATA`` names another place.
    """
    share = (".local", "share")
    return _folder("GRAMWATT_DATA", "LOCALAPPDATA", "XDG_DATA_HOME", share)


def config_folder() -> Path:
    """Where this platform keeps settings.

    ``GRAMWATT_CONFIG`` names another place.
    """
    return _folder("GRAMWATT_CONFIG", "APPDATA", "XDG_CONFIG_HOME", (".config",))


def _folder(own: str, windows: str, free: str, at_home: tuple[str, ...]) -> Path:
    """By the variables of the environment that may name it.

    Args:
        own: ours, which names the folder itself.
        windows: names what it lies in there; else it lies at home.
        free: the same for the free desktops.
        at_home: where it lies on those else.
    """
    if named := os.environ.get(own):
        return Path(named)
    home = Path.home()
    if sys.platform == "darwin":
        return home.joinpath(*APPLE, NAME)
    if sys.platform == "win32":
        return Path(os.environ.get(windows) or home) / NAME
    return Path(os.environ.get(free) or home.joinpath(*at_home)) / NAME
