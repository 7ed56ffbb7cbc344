"""Random numbers for the plant: seeded, one stream a purpose, drawn in blocks.

Each purpose has a stream of its own, so that asking one sensor more often
never changes what another one reads. Never reads the machine's entropy.
"""

from collections.abc import Callable, Iterator
from enum import IntEnum

import numpy as np

BLOCK = 4096


class Stream(IntEnum):
    """What a stream is for; the number keys it and must never be re-used."""

    LOAD_CELL_GAIN = 0
    CURRENT_GAIN = 1
    VOLTAGE_GAIN = 2
    LOAD_CELL_NOISE = 3
    CURRENT_NOISE = 4
    VOLTAGE_NOISE = 5
    WINDING_GAIN = 6
    ESC_GAIN = 7
    WINDING_NOISE = 8
    ESC_NOISE = 9
    CELL_ZERO_WALK = 10
    CELL_GAIN_WALK = 11
    REFERENCE_WALK = 12
    GUSTS = 13
    PLUG_PLUS_GAIN = 14
    PLUG_MINUS_GAIN = 15
    PLUG_PLUS_NOISE = 16
    PLUG_MINUS_NOISE = 17
    PLUG_GAIN = 18
    PLUG_NOISE = 19
    PACK_VOLTAGE_GAIN = 20
    PACK_VOLTAGE_NOISE = 21
    FAST_NOISE = 22
    CELL_TAP_GAIN = 24
    CELL_TAP_NOISE = 25


def _blocks(generator: np.random.Generator) -> Iterator[float]:
    while True:
        yield from generator.standard_normal(BLOCK).tolist()


def standard_normals(seed: int, stream: Stream) -> Callable[[], float]:
    """A function that returns the next standard normal number of a stream.

    Args:
        seed: the plant's seed, not negative.
        stream: which purpose.

    Source: PCG64 keyed by a seed sequence, as numpy documents for independent
    streams.
    """
    return _blocks(generator(seed, stream)).__next__


def generator(seed: int, stream: Stream) -> np.random.Generator:
    """What a stream draws from, for who takes many numbers at once."""
    sequence = np.random.SeedSequence(seed, spawn_key=(int(stream),))
    return np.random.Generator(np.random.PCG64(sequence))
