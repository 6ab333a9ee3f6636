"""A sampled run of the outsider: faults planted in worlds that the program has not drawn, found by its command line.

Outside world: ngspice solves every circuit; discrete states are decided by the outsider. Spreads are *invented*.
The full runs are ``python tests/external/outsider.py --styles zone`` and ``--styles module``.
"""

import re
from pathlib import Path

import pytest

from tests.external import outsider, outsider_circuit, outsider_line, outsider_panel, outsider_world

COUNT, SEED = 5, 3  # of each family of wiring styles
UNDRAWN = (  # places drawn once, by hand
    ("rope_works", "polarity_reversed@det3", "det5"),  # two-wire, one-way heads
    ("pump_house", "conductor_open@det4.in+", "det2"),  # four-wire, relays
    ("pump_house", "earth_fault=1k@det2.in_a", "det1"),
    ("tide_mill", "earth_fault=8k@det4.in-", "det3"),
    ("music_school", "conductor_open@det4.in-", "det6"),  # switched minus
    ("boat_yard", "pair_short@det3.in_power", "det2"),  # resettable output
    ("tide_mill", "zone_settings_exchanged@panel", "det2"),  # module, two-wire, smoke and CO
    ("print_shop", "outputs_exchanged@module", "det3"),  # module, four-wire, smoke and CO
    ("kiln_house", "conductor_open@module.fire+", "det1"),  # module, one zone
    ("dairy_barn", "end_resistor_missing@end_co", "det4"),  # module on a separate supply
)


@pytest.fixture(scope="module", params=outsider.STYLES)
def stories(ngspice: str, request: pytest.FixtureRequest) -> list[outsider.Story]:
    """Play the sample of a family of styles once."""
    assert ngspice
    return outsider.run_plants(COUNT, SEED, ("engine",), str(request.param))


def test_no_planted_fault_settles_as_another_one(stories: list[outsider.Story]) -> None:
    wrong = [outsider.story_text(s) for s in stories if s.ended == "settled" and not s.right]
    assert not wrong, "\n".join(wrong)


def test_nine_in_ten_visible_faults_are_settled(stories: list[outsider.Story]) -> None:
    played = [s for s in stories if s.ended not in outsider.SKIPPED]
    open_ones = [outsider.story_text(s) for s in played if s.ended != "settled"]
    assert len(played) == COUNT
    assert len(open_ones) <= COUNT // 10 + 1, "\n".join(open_ones)


def site_named(stem: str) -> Path:
    """Return one of the outsider's sites."""
    return next(site for site in outsider_line.SITES if site.stem == stem)


@pytest.mark.parametrize(("site", "fault", "detector"), UNDRAWN)
def test_states_and_volts_of_an_undrawn_world_are_the_predicted_ones(
    ngspice: str, tmp_path: Path, site: str, fault: str, detector: str
) -> None:
    assert ngspice
    assert outsider_world.find_differences(site_named(site), fault, detector, tmp_path) == []


@pytest.mark.parametrize("stem", ["glass_house", "print_shop"])
def test_a_planted_difference_is_found(ngspice: str, tmp_path: Path, stem: str) -> None:
    assert ngspice
    site = site_named(stem)
    world = outsider_circuit.build_world(site, "healthy", tmp_path, None)
    kinds = next(row for row in outsider_line.listed("kinds", site) if row["kind"] == "end_resistor_missing")
    told = outsider_line.ask("predict", str(site), "--fault", f"end_resistor_missing@{kinds['places'][0]}")
    found = outsider_world.differences_in(world, "standby", told)
    assert any("panel zone1: normal, trouble" in text for text in found)
    assert any("volts" in text for text in found)


def test_a_smoke_detector_on_exchanged_outputs_reports_on_the_wrong_zone(ngspice: str, tmp_path: Path) -> None:
    assert ngspice
    words = {
        fault: outsider_world.tested_word(
            outsider_circuit.build_world(site_named("tide_mill"), fault, tmp_path, None), "det1"
        )
        for fault in ("healthy", "outputs_exchanged@module", "zone_kind_wrong@zone1", "two_detector_rule@zone1")
    }
    assert words == {
        "healthy": "reports_and_clears",
        "outputs_exchanged@module": "reports_wrong_zone",
        "zone_kind_wrong@zone1": "reports_wrong_zone",
        "two_detector_rule@zone1": "no_report",
    }


def test_a_module_pair_that_is_open_troubles_both_zones(ngspice: str, tmp_path: Path) -> None:
    assert ngspice
    world = outsider_circuit.build_world(site_named("print_shop"), "end_resistor_missing@end_fire", tmp_path, None)
    shown = outsider_panel.zones_show(world, outsider_panel.mode_states(world, "standby"))
    assert shown == {"zone1": "trouble", "zone2": "trouble"}


def test_an_output_that_gives_way_under_one_alarm_never_settles_here_nor_there(ngspice: str, tmp_path: Path) -> None:
    assert ngspice
    site, fault = tmp_path / "one_head.yaml", "output_overloaded@panel"
    five = site_named("boat_yard").read_text(encoding="utf-8")
    site.write_text(five.replace("count: 5", "count: 1"), encoding="utf-8")
    world = outsider_circuit.build_world(site, fault, tmp_path, None)
    with pytest.raises(outsider_panel.NeverSettlesError):
        outsider_panel.mode_states(world, "alarm:det1")
    told = outsider_line.ask("predict", str(site), "--fault", fault, "--mode", "alarm:det1")
    assert told["never_settles"] == ["det1.latched"]
    assert outsider_world.differences_in(world, "alarm:det1", told) == []
    assert outsider_world.differences_in(world, "alarm:det1", told | {"never_settles": []}) != []


@pytest.mark.parametrize(
    ("place", "offer", "fits"),
    [
        ("module", "terminals, at the interface module.", True),
        ("module", "terminals, at the panel.", False),
        ("panel", "terminals, at the interface module.", False),
        ("zone2", "board, for zone 1.", False),
        ("zone2", "board, for zone 2.", True),
        ("det1.in+", "run, on the run into detector 1.", True),
        ("det1.in+", "run, on the run into detector 10.", False),
    ],
)
def test_an_offered_repair_is_right_only_at_the_planted_part(place: str, offer: str, *, fits: bool) -> None:
    assert (re.search(rf"{outsider.offered_place(place)}\b", offer) is not None) is fits


def test_an_alarm_lamp_is_seen_at_the_detector_in_alarm_only(ngspice: str, tmp_path: Path) -> None:
    assert ngspice
    world = outsider_circuit.build_world(site_named("print_shop"), "healthy", tmp_path, None)
    lit = [outsider_world.alarmed_ones(world, outsider_panel.mode_states(world, m)) for m in ("standby", "alarm:det4")]
    assert lit == ["none", "det4"]


def test_one_process_a_question_answers_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    words = ("list", "kinds", str(site_named("print_shop")))
    here = outsider_line.ask(*words)
    monkeypatch.setenv("OHMWARD_OUTSIDER_SHELL", "1")
    assert outsider_line.ask(*words) == here
