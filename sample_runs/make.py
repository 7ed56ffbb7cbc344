"""Make the sample runs again: ``python sample_runs/make.py``.

Each is a run of the simulated stand in the invented scenario (the Tern Lane
Model Flyers' indoor camera quad), in real time, through the same keeper as any
other run, and says that it is simulated. What is derived from a run is not kept
here: ``gramwatt rebuild RUN`` makes it.
"""

import shutil
import sys
import tempfile
from pathlib import Path

from ui.cli.main import main

HERE = Path(__file__).parent
# Name of the sample: the protocol and the seed of the stand's noise.
SAMPLES = {"short-staircase-a": ("short-staircase", 3)}


def make(name: str, protocol: str, seed: int) -> None:
    """Spin one sample and put its record here.

    Raises:
        SystemExit: the run did not end well.
    """
    with tempfile.TemporaryDirectory() as scratch:
        arguments = ["spin", protocol, "--simulated", "--seed", str(seed)]
        if main([*arguments, "--out", scratch]) != 0:
            raise SystemExit(f"{name} did not end well")
        (folder,) = Path(scratch).iterdir()
        shutil.rmtree(folder / "derived")
        shutil.rmtree(HERE / name, ignore_errors=True)
        shutil.move(folder, HERE / name)


if __name__ == "__main__":
    for sample, (recipe, noise) in SAMPLES.items():
        make(sample, recipe, noise)
    sys.exit(0)
