"""Make the sample runs again: ``python sample_runs/make.py [NAME ...]``.

Each is a run of the simulated stand in the invented scenario (the Tern Lane Model
Flyers' indoor camera quad), in real time, through the same keeper as any other run,
and says that it is simulated. What is derived from a run is not kept here:
``gramwatt rebuild RUN`` makes it.

The first is on the demo's stand. The others are on a rough one, such as people build,
calibrated before: an article ``a`` mounted three times, ``b`` with a steeper propeller
and ``c``, another motor and propeller of the make of ``a``, twice each, taking turns.
``gramwatt compare`` tells ``b`` from ``a``; ``c`` it cannot.
"""

import os
import shutil
import sys
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from importlib import resources
from pathlib import Path

from ui.articles import example_article
from ui.cli.main import main

HERE = Path(__file__).parent
SEED = 5
ROUGH = "rough.toml"
ATTEMPTS = 3
# Of the specimens that the rough stand's scatter gives, one as good as the first.
TWIN = "11"
# What a steeper propeller gives and takes, against the truth's own tables.
STEEPER = {
    "ct = [0.137, 0.144, 0.149, 0.153, 0.156, 0.159, 0.161, 0.162]": (
        "ct = [0.151, 0.158, 0.164, 0.168, 0.172, 0.175, 0.177, 0.178]"
    ),
    "cp = [0.0800, 0.0830, 0.0860, 0.0885, 0.0910, 0.0935, 0.0957, 0.0973]": (
        "cp = [0.0896, 0.0930, 0.0963, 0.0991, 0.1019, 0.1047, 0.1072, 0.1090]"
    ),
}
NAMES = {
    "a": "Indoor quad, motor A",
    "b": "Indoor quad, motor A, steeper propeller",
    "c": "Indoor quad, second motor A",
}


@dataclass(frozen=True)
class Sample:
    """One sample on the rough stand.

    Attributes:
        name: of its folder.
        article: a key of ``NAMES``.
        mounting: number of the mounting, in the order of the day.
    """

    name: str
    article: str
    mounting: int


DAY = tuple(
    Sample(name, name[0], mounting)
    for mounting, name in enumerate(("a-1", "b-1", "b-2", "a-2", "c-1", "c-2", "a-3"))
)


def first() -> None:
    """The sample on the demo's stand."""
    spun(HERE / "short-staircase-a", ["--seed", "3"])


def day(scratch: Path, samples: Sequence[Sample] = DAY) -> None:
    """Calibrate the rough stand, then spin the day's samples on it."""
    truths, articles = rough_truths(scratch), written_articles(scratch)
    stand = ["--truth", str(truths["a"]), "--seed", str(SEED)]
    for channel, more in {
        "thrust": [],
        "current": ["--meter", "1% + 3 x 0.01"],
        "voltage": ["--meter", "0.5% + 2 x 0.01"],
    }.items():
        if main(["calibrate", "--simulated", channel, *stand, *more]) != 0:
            raise SystemExit(f"{channel} was not calibrated")
    for sample in samples:
        specimen = TWIN if sample.article == "c" else "0"
        asked = ["--truth", str(truths[sample.article]), "--seed", str(SEED)]
        asked += ["--specimen", specimen, "--mounting", str(sample.mounting)]
        spun(HERE / sample.name, [*asked, "--article", str(articles[sample.article])])


def rough_truths(scratch: Path) -> dict[str, Path]:
    """The rough stand's figures, with each propeller: one stand by its file's name."""
    text = resources.files("daq.stand.truths").joinpath(ROUGH).read_text("utf-8")
    steep = text
    for line, steeper in STEEPER.items():
        if line not in steep:
            raise SystemExit(f"{ROUGH} no longer has the line {line}")
        steep = steep.replace(line, steeper)
    found = {}
    for name, figures in (("a", text), ("b", steep), ("c", text)):
        folder = scratch / name
        folder.mkdir()
        found[name] = folder / ROUGH
        found[name].write_text(figures, encoding="utf-8")
    return found


def written_articles(scratch: Path) -> dict[str, Path]:
    """The example article under each name."""
    text = Path(str(example_article())).read_text(encoding="utf-8")
    found = {}
    for key, name in NAMES.items():
        found[key] = scratch / f"{key}.toml"
        named = text.replace(f'name = "{NAMES["a"]}"', f'name = "{name}"')
        found[key].write_text(named, encoding="utf-8")
    return found


def spun(folder: Path, more: list[str]) -> None:
    """Spin one sample and put its record there.

    A machine that is busy with something else may fall silent for too long, and the
    run trips: then once more.

    Raises:
        SystemExit: the run did not end well.
    """
    if not any(_spun(folder, more) for _ in range(ATTEMPTS)):
        raise SystemExit(f"{folder.name} did not end well")


def _spun(folder: Path, more: list[str]) -> bool:
    with tempfile.TemporaryDirectory() as scratch:
        asked = ["spin", "short-staircase", "--simulated", *more, "--out", scratch]
        if main(asked) != 0:
            return False
        (made,) = Path(scratch).iterdir()
        shutil.rmtree(made / "derived")
        shutil.rmtree(folder, ignore_errors=True)
        shutil.move(made, folder)
        return True


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as place:
        # Calibrations that are already kept on this machine are none of this stand's.
        os.environ["GRAMWATT_DATA"] = place
        wanted = sys.argv[1:]
        if not wanted or "short-staircase-a" in wanted:
            first()
        chosen = [one for one in DAY if not wanted or one.name in wanted]
        if chosen:
            day(Path(place), chosen)
    sys.exit(0)
