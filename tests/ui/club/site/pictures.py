"""``python -m tests.ui.club.site.pictures FOLDER``: the club's site as pictures.

Each page and state of it, on a desktop and a phone, in light and dark, of invented runs
that say so. To be looked at after a change.
"""

import argparse
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path

from tests.club.invented import bundles_of, invented, refused
from tests.ui.club.site.browser import DESKTOP, PHONE, started
from tests.ui.club.site.test_build import CLUB, Agreement
from tests.ui.club.site.test_in_a_browser import Site, pages
from ui.club.site.build import build_site


def taken(folder: Path, runs: int) -> list[Path]:
    """Take them all, and name them."""
    found = []
    folder.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as scratch, started() as browser:
        site = _made(Path(scratch), runs)
        for name, (address, ready) in pages(site).items():
            for size, screen in ((DESKTOP, "desktop"), (PHONE, "phone")):
                for dark in (False, True):
                    browser.set_screen(size, dark=dark)
                    browser.open(address, ready)
                    scheme = "dark" if dark else "light"
                    plain = name.replace(", ", "-").replace(" ", "-")
                    path = folder / f"{plain}-{screen}-{scheme}.png"
                    browser.picture(path)
                    found.append(path)
    return found


def _made(folder: Path, runs: int) -> Site:
    shared = invented(runs)
    bundles_of(shared, folder / "bundles")
    scales = sorted({one.entry.scale for one in shared})[:5]
    agreement = Agreement(scales)
    out = folder / "site"
    build_site(shared, refused(), agreement, CLUB, out, folder / "bundles")
    return Site(out, shared, "")


def main(arguments: Sequence[str] | None = None) -> int:
    """Take them."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--runs", type=int, default=60)
    asked = parser.parse_args(arguments)
    for path in taken(asked.folder, asked.runs):
        print(path)
    return 0


if __name__ == "__main__":
    sys.exit(main())
