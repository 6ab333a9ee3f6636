"""A sampled run of the outsider: faults planted in worlds that the program has not drawn, found by its command line.

Outside world: ngspice solves every circuit; discrete states are decided by the outsider. Spreads are *invented*.
The full run is ``python tests/external/outsider.py``.
"""

from pathlib import Path

import pytest

from tests.external import outsider, outsider_world

COUNT, SEED = 6, 2
UNDRAWN = (  # one two-wire loop with one-way heads, one four-wire loop with relays; places drawn once, by hand
    ("rope_works", "polarity_reversed@det3", "det5"),
    ("pump_house", "conductor_open@det4.in+", "det2"),
)


@pytest.fixture(scope="module")
def stories(ngspice: str) -> list[outsider.Story]:
    """Play the sample once."""
    assert ngspice
    return outsider.run_plants(COUNT, SEED, ("engine",))


def test_no_planted_fault_settles_as_another_one(stories: list[outsider.Story]) -> None:
    wrong = [outsider.story_text(s) for s in stories if s.ended == "settled" and not s.right]
    assert not wrong, "\n".join(wrong)


def test_nine_in_ten_visible_faults_are_settled(stories: list[outsider.Story]) -> None:
    played = [s for s in stories if s.ended != "invisible"]
    open_ones = [outsider.story_text(s) for s in played if s.ended != "settled"]
    assert len(played) == COUNT
    assert len(open_ones) <= COUNT // 10 + 1, "\n".join(open_ones)


@pytest.mark.parametrize(("site", "fault", "detector"), UNDRAWN)
def test_states_and_volts_of_an_undrawn_world_are_the_predicted_ones(
    ngspice: str, tmp_path: Path, site: str, fault: str, detector: str
) -> None:
    assert ngspice
    path = next(p for p in outsider.SITES if p.stem == site)
    assert outsider_world.find_differences(path, fault, detector, tmp_path) == []


def test_a_planted_difference_is_found(ngspice: str, tmp_path: Path) -> None:
    assert ngspice
    site = outsider.SITES[0]
    world = outsider_world.build_world(outsider_world.ask("export", str(site)), tmp_path, None)
    told = outsider_world.ask("predict", str(site), "--fault", "end_resistor_missing@end")
    assert any("panel.zone1+" in text for text in outsider_world.differences_in(world, "standby", told))
