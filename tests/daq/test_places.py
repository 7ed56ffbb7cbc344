"""The platforms' folders: the free desktops' base directories, Apple's and Windows'."""

from collections.abc import Callable
from pathlib import Path

import pytest

from daq.places import config_folder, data_folder

PLACES = (
    # the free desktops' base directory specification 0.8; the other two from memory
    (data_folder, "GRAMWATT_DATA", "XDG_DATA_HOME", "LOCALAPPDATA", ".local/share"),
    (config_folder, "GRAMWATT_CONFIG", "XDG_CONFIG_HOME", "APPDATA", ".config"),
)


@pytest.mark.parametrize(("ask", "own", "free", "windows", "at_home"), PLACES)
def test_the_platforms_folder_is_used_where_none_is_named(
    monkeypatch: pytest.MonkeyPatch,
    tmp_path: Path,
    ask: Callable[[], Path],
    own: str,
    free: str,
    windows: str,
    at_home: str,
) -> None:
    for name in (own, free, windows):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setattr("sys.platform", "linux")
    assert ask() == Path.home() / at_home / "gramwatt"
    monkeypatch.setenv(free, str(tmp_path))
    assert ask() == tmp_path / "gramwatt"
    monkeypatch.setattr("sys.platform", "darwin")
    assert ask() == Path.home() / "Library" / "Application Support" / "gramwatt"
    monkeypatch.setattr("sys.platform", "win32")
    assert ask() == Path.home() / "gramwatt"
    monkeypatch.setenv(windows, str(tmp_path / "roaming"))
    assert ask() == tmp_path / "roaming" / "gramwatt"
    monkeypatch.setenv(own, str(tmp_path / "named"))
    assert ask() == tmp_path / "named"
