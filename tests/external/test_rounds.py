"""A round of tests after a repair ends at the first thing that is not right; slips drawn as the engine believes them.

Common practice, no source: after a repair one looks at the panel first, and a test that fails ends the round.
"""

from collections import Counter

import numpy as np
import pytest

from diagnostics.referee import BelievedSlips, Plant, find_told, list_sites, play_round
from diagnostics.referee.answers import draw_believed, find_answer
from diagnostics.referee.plants import STYLES
from diagnostics.referee.rounds import find_round_minutes
from diagnostics.referee.world import World, build_world
from tests.external.referee_line import open_line

SITE = next(site for style in STYLES for site in list_sites(style) if site.stem == "hill_hostel")
SHARES = {"turned": 0.2, "prefix": 0.2, "off": 0.3, "anything": 0.3}
SLIPS = BelievedSlips(shares={"volts": 1.0}, **SHARES, widest_v=60.0, least_ohm=0.1)


def build(fault: str) -> tuple[World, Plant]:
    """Return a world exactly as described, with a fault."""
    return build_world(open_line(), SITE, fault), Plant(SITE, fault, "new", (0,))


@pytest.mark.parametrize(
    ("fault", "failed", "word"),
    [
        ("end_resistor_missing@end", "panel_shows", "trouble"),
        ("detector_dead@det12", "functional_test", "no_report"),
        ("end_resistor_on_in@end", "head_off", "normal"),
    ],
)
def test_a_round_ends_at_the_first_that_fails_and_names_it(fault: str, failed: str, word: str) -> None:
    world, plant = build(fault)
    found = play_round(world, plant, "panel")
    assert found.failed is not None
    assert (found.failed["measurement"], found.value) == (failed, word)
    assert found.value == find_answer(world, plant, found.failed)
    assert found.minutes < find_round_minutes(world, "panel")
    assert (found.minutes == 0.0) == (failed == "panel_shows")  # a look at the panel costs nothing by itself


def test_a_round_on_a_sound_loop_fails_nowhere_and_takes_all_its_minutes() -> None:
    world, plant = build("healthy")
    found = play_round(world, plant, "det2")
    assert (found.failed, found.value) == (None, "")
    assert found.minutes == find_round_minutes(world, "det2")


def test_what_is_complained_of_has_been_met_somewhere() -> None:
    world, plant = build("detector_dead@det3")
    told = find_told(world, plant, "one_does_not_report")
    assert told is not None
    assert (told[0]["at"], told[1]) == ("det3", "no_report")
    assert find_told(world, plant, "constant_trouble") is None
    assert find_told(world, plant, "wrong_zone_reports") is None


def test_slips_are_drawn_in_the_shares_that_are_believed() -> None:
    world, _ = build("healthy")
    row, rng = {"measurement": "volts", "answers": None}, np.random.default_rng(1)
    drawn = [draw_believed(world, SLIPS, row, "19.80 V", rng) for _ in range(4000)]
    kinds = Counter(
        "turned" if text == "-19.80 V"
        else "prefix" if text in ("19.80 mV", "19.80 kV")
        else "off" if abs(float(text.removesuffix(" V"))) < 0.25 else "anything"
        for text in drawn
    )  # fmt: skip
    for kind, share in SHARES.items():
        assert kinds[kind] / len(drawn) == pytest.approx(share, abs=0.03)
    lamp = {"measurement": "lamp", "answers": ["lit", "dark"]}
    words = {draw_believed(world, SLIPS, lamp, "lit", rng) for _ in range(9)}
    assert words == {"lit", "dark"}
