"""Colours of the theme: letters stand out by at least 4.5:1 against what lies behind them, in light and in dark.

Source of the measure: WCAG 2.2, success criterion 1.4.3, and its definitions of relative luminance and contrast ratio.
"""

import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
THEME = tomllib.loads((ROOT / ".streamlit" / "config.toml").read_text("utf-8"))["theme"]
WHITE, BLACK = "#ffffff", "#000000"


def find_luminance(colour: str) -> float:
    shares = [int(colour[n : n + 2], 16) / 255 for n in (1, 3, 5)]
    linear = [s / 12.92 if s <= 0.04045 else ((s + 0.055) / 1.055) ** 2.4 for s in shares]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def find_contrast(one: str, two: str) -> float:
    low, high = sorted((find_luminance(one), find_luminance(two)))
    return (high + 0.05) / (low + 0.05)


def test_measure_gives_the_published_extremes() -> None:
    assert find_contrast(WHITE, BLACK) == pytest.approx(21.0)
    assert find_contrast("#777777", WHITE) == pytest.approx(4.48, abs=0.01)


@pytest.mark.parametrize("mode", ["light", "dark"])
@pytest.mark.parametrize("ground", ["backgroundColor", "secondaryBackgroundColor"])
def test_letters_and_links_stand_out_from_both_grounds(mode: str, ground: str) -> None:
    colours = THEME[mode]
    assert find_contrast(colours["textColor"], colours[ground]) >= 4.5
    assert find_contrast(colours["linkColor"], colours[ground]) >= 4.5


@pytest.mark.parametrize("mode", ["light", "dark"])
def test_white_letters_stand_out_from_the_main_button(mode: str) -> None:
    assert find_contrast(WHITE, THEME[mode]["primaryColor"]) >= 4.5


@pytest.mark.parametrize("mode", ["light", "dark"])
def test_edges_of_fields_and_buttons_can_be_seen(mode: str) -> None:
    """Parts of controls need 3:1 (WCAG 2.2, 1.4.11)."""
    assert find_contrast(THEME[mode]["borderColor"], THEME[mode]["backgroundColor"]) >= 3.0


def test_letters_are_large_enough_that_a_phone_does_not_zoom_into_a_field() -> None:
    assert THEME["baseFontSize"] >= 19  # makes 16.6 px in a field; below 16 px phones zoom (tried)
