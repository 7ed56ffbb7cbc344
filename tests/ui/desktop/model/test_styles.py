"""Curves are told apart by colour, dash and marker, by any eyes, on either ground.

Colours seen with one kind of cone missing: Machado, Oliveira and Fernandes, "A
Physiologically-based Model for Simulation of Color Vision Deficiency", IEEE TVCG
15(6), 2009, matrices for severity 1.0 (figures from memory; each row must sum to 1,
since white stays white, and does). Distances in CIELAB (CIE 15, D65); contrast as WCAG
2.1 defines it, whose success criterion 1.4.11 asks for 3:1 of graphics.
"""

import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from ui.desktop import theme
from ui.desktop.model.styles import ON_DARK, ON_LIGHT, Slots, style_of

MISSING = {
    "none": np.eye(3),
    "long": np.array(
        [
            [0.152286, 1.052583, -0.204868],
            [0.114503, 0.786281, 0.099216],
            [-0.003882, -0.048116, 1.051998],
        ]
    ),
    "middle": np.array(
        [
            [0.367322, 0.860646, -0.227968],
            [0.280085, 0.672501, 0.047413],
            [-0.011820, 0.042940, 0.968881],
        ]
    ),
    "short": np.array(
        [
            [1.255528, -0.076749, -0.178779],
            [-0.078411, 0.930809, 0.147602],
            [0.004733, 0.691367, 0.303900],
        ]
    ),
}
# sRGB to XYZ, IEC 61966-2-1.
XYZ = np.array(
    [
        [0.4124564, 0.3575761, 0.1804375],
        [0.2126729, 0.7151522, 0.0721750],
        [0.0193339, 0.1191920, 0.9503041],
    ]
)
# A distance of 2.3 is just seen on large areas side by side (Mahy et al. 1994, from
# memory); thin lines far apart need several times that.
APART = 20.0

Array = NDArray[np.float64]


def linear(color: str) -> Array:
    shares = np.array([int(color[n : n + 2], 16) for n in (1, 3, 5)]) / 255
    low = shares / 12.92
    return np.asarray(
        np.where(shares <= 0.04045, low, ((shares + 0.055) / 1.055) ** 2.4)
    )


def lab(rgb: Array) -> Array:
    share = (XYZ @ np.clip(rgb, 0, 1)) / (XYZ @ np.ones(3))
    f = np.where(
        share > (6 / 29) ** 3, np.cbrt(share), share * (29 / 6) ** 2 / 3 + 4 / 29
    )
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def contrast(one: str, other: str) -> float:
    dark, light = sorted(float((XYZ @ linear(color))[1]) for color in (one, other))
    return (light + 0.05) / (dark + 0.05)


def test_the_references_are_what_they_should_be() -> None:
    for matrix in MISSING.values():
        assert matrix.sum(axis=1) == pytest.approx(1.0, abs=1e-5)
    assert contrast("#ffffff", "#000000") == pytest.approx(21.0, abs=1e-3)
    assert lab(np.ones(3)) == pytest.approx([100, 0, 0], abs=1e-6)


@pytest.mark.parametrize("missing", sorted(MISSING))
@pytest.mark.parametrize("colors", [ON_LIGHT, ON_DARK], ids=["light", "dark"])
def test_any_two_colours_stay_apart_for_eyes_that_lack_a_cone(
    colors: tuple[str, ...], missing: str
) -> None:
    seen = [lab(MISSING[missing] @ linear(color)) for color in colors]
    for one, other in itertools.combinations(seen, 2):
        assert float(np.linalg.norm(one - other)) > APART


@pytest.mark.parametrize(
    ("colors", "scheme"), [(ON_LIGHT, theme.LIGHT), (ON_DARK, theme.DARK)]
)
def test_each_colour_stands_out_from_its_ground(
    colors: tuple[str, ...], scheme: theme.Palette
) -> None:
    for color, ground in itertools.product(colors, (scheme.paper, scheme.sheet)):
        assert contrast(color, ground) >= 3.0


def test_neighbours_differ_in_more_than_colour() -> None:
    for one, other in itertools.pairwise(style_of(n) for n in range(30)):
        assert one.on_light != other.on_light
        assert one.dash != other.dash
        assert one.marker != other.marker


def test_twenty_four_differ_in_colour_and_dash() -> None:
    assert len({(style_of(n).on_dark, style_of(n).dash) for n in range(24)}) == 24


@given(st.lists(st.lists(st.integers(0, 9), max_size=8), max_size=8))
def test_what_is_drawn_keeps_its_place_and_no_two_share_one(
    shown: list[list[int]],
) -> None:
    slots = Slots()
    before: dict[int, int] = {}
    for drawn in shown:
        slots.keep(drawn)
        now = {key: style.slot for key in drawn if (style := slots.style(key))}
        assert set(now) == set(drawn)
        assert len(set(now.values())) == len(now)
        assert all(now[key] == before[key] for key in now if key in before)
        before = now
    assert slots.style("never drawn") is None
