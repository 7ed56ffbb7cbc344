"""The look: enough contrast by day, by night and on paper, and no colour alone."""

import re
from importlib import resources

import pytest


def luminance(color: str) -> float:
    """Relative luminance of a colour (WCAG 2.1, definition)."""
    digits = color.lstrip("#")
    if len(digits) == 3:
        digits = "".join(2 * digit for digit in digits)
    parts = [int(digits[i : i + 2], 16) / 255 for i in (0, 2, 4)]
    linear = [
        c / 12.92 if c <= 0.03928 else ((c + 0.055) / 1.055) ** 2.4 for c in parts
    ]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    """Contrast ratio (WCAG 2.1, definition)."""
    dark, light = sorted((luminance(one), luminance(other)))
    return (light + 0.05) / (dark + 0.05)


def schemes() -> dict[str, dict[str, str]]:
    """Colours by scheme; what a scheme does not set it takes from the first."""
    style = resources.files("ui.report").joinpath("report.css").read_text("utf-8")
    blocks = [
        dict(re.findall(r"(--[a-z-]+): (#[0-9a-f]+);", block))
        for block in re.findall(r":root \{(.*?)\}", style, re.DOTALL)
    ]
    names = ("light", "dark", "print")
    assert len(blocks) == len(names)
    return {name: blocks[0] | block for name, block in zip(names, blocks, strict=True)}


def test_contrast_is_that_of_the_standard() -> None:
    # WCAG 2.1: black on white is 21 to 1; #767676 is the lightest grey that
    # reaches 4.5 to 1 on white (widely published, from memory).
    assert contrast("#000", "#fff") == pytest.approx(21)
    assert contrast("#767676", "#fff") >= 4.5 > contrast("#777777", "#fff")


@pytest.mark.parametrize("scheme", ["light", "dark", "print"])
def test_text_and_marks_have_the_contrast_of_wcag_aa(scheme: str) -> None:
    colors = schemes()[scheme]
    for ground in ("--paper", "--sheet"):
        for ink in ("--ink", "--muted", "--second", "--danger"):
            assert contrast(colors[ink], colors[ground]) >= 4.5, (ink, ground)
        # A mark needs 3 to 1 (WCAG 2.1, 1.4.11); its outline is ink.
        assert contrast(colors["--good"], colors[ground]) >= 3
    # Lines and points over the band of a curve.
    for mark in ("--ink", "--muted", "--second"):
        assert contrast(colors[mark], colors["--wash"]) >= 3, mark


def test_every_colour_follows_the_scheme() -> None:
    found = schemes()
    assert set(found["dark"]) == set(found["light"])
    for name in set(found["light"]):
        assert found["dark"][name] != found["light"][name]
    style = resources.files("ui.report").joinpath("report.css").read_text("utf-8")
    rules = re.sub(r":root \{.*?\}", "", style, flags=re.DOTALL)
    assert not re.search(r"#[0-9a-fA-F]{3,8}\b", rules)
    assert "@import" not in style
    assert "url(" not in style
