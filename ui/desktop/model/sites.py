"""What a club's site is to be built of, and what came of it, in words.

Builds nothing: that is an errand.
"""

from collections.abc import Sequence
from pathlib import Path
from typing import Final

from ui.desktop.model.clubs import SiteBuilt
from ui.desktop.model.words import several_lines
from ui.report.words import counted

MOST_NAME: Final = 80
SITE: Final = "site"
MOST_REFUSED: Final = 100  # told one by one
LOOKED: Final = "Looking through the folder; what was looked into before is kept."


def asked(folder: str, name: str, out: str) -> dict[str, object]:
    """What the errand is told."""
    return {
        "do": SITE,
        "folder": str(Path(folder.strip()).expanduser().absolute()),
        "name": name.strip(),
        "out": str(Path(out.strip()).expanduser().absolute()),
    }


def site_beside(folder: str) -> str:
    """Where a site goes unless somebody says otherwise: beside the bundles' folder."""
    text = folder.strip()
    if not text:
        return ""
    path = Path(text).expanduser()
    return str(path.with_name(f"{path.name}-{SITE}"))


def lacking(folder: str, name: str, out: str) -> str:
    """What has to be done before a site can be built, a sentence; "" for nothing."""
    if not folder.strip():
        return "Choose the folder in which the club's bundles are."
    if not Path(folder.strip()).expanduser().is_dir():
        return f"There is no folder {folder.strip()}."
    if not name.strip():
        return "Say what the club is called: its pages are headed by that."
    if len(name) > MOST_NAME or not name.isprintable():
        return f"A club's name has at most {MOST_NAME} plain characters."
    if not out.strip():
        return "Say where the site is to be written."
    if Path(out.strip()).expanduser() == Path(folder.strip()).expanduser():
        return "The site wants a folder of its own, beside that of the bundles."
    return ""


def busy_words(progress: tuple[int, int] | None) -> str:
    """How far it is."""
    if progress is None:
        return LOOKED
    done, of = progress
    if done >= of:
        return f"All {of} looked into; writing the pages."
    return f"Looked into {done} of {counted(of, 'bundle')}."


def built_words(built: SiteBuilt) -> str:
    """What came of it, a line."""
    refused = len(built.refused)
    words = (
        f"{counted(built.bundles, 'bundle')} looked through: "
        f"{counted(built.runs, 'run')} in the site"
    )
    return f"{words}, {refused} refused." if refused else f"{words}, none refused."


def refused_words(built: SiteBuilt) -> list[str]:
    """Why bundles were refused, a sentence each."""
    told = [
        several_lines(f"{name}: {why}", 900)
        for name, why in built.refused[:MOST_REFUSED]
    ]
    rest = len(built.refused) - len(told)
    return [*told, f"And {rest} more."] if rest else told


def folders_known(texts: Sequence[str]) -> list[str]:
    """Folders of bundles that were used before and are there still."""
    return [text for text in texts if Path(text).is_dir()]
