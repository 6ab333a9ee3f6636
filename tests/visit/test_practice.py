"""A hidden fault: what can be hidden, what is complained of, and how it was gone after, in readings and minutes."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest

from diagnostics.cases import Case, CaseStore, Reading, parse_site_text
from diagnostics.errors import FaultError
from diagnostics.faults import list_faults, read_catalogue
from diagnostics.locate import find_shipped
from diagnostics.visit import (
    RepairNote,
    build_bench,
    count_own_way,
    find_hidden,
    find_model_way,
    list_complaints,
    list_left,
    list_plantable,
    parse_planted,
    plant_fault,
    record_reading,
    record_repair,
    rehearse_model,
)
from diagnostics.wiring import build_loop


def build_case(name: str, symptom: str = "constant_trouble") -> Case:
    text = (find_shipped("cases") / "sites" / f"{name}.yaml").read_text("utf-8")
    return Case(parse_site_text(text, "site"), text, contexts=("aged",), symptom=symptom)


BAKERY = build_case("bakery")
LOOP = build_loop(BAKERY.site)


@pytest.fixture
def store(tmp_path: Path) -> Iterator[CaseStore]:
    with CaseStore(f"sqlite:///{tmp_path / 'cases.sqlite3'}") as found:
        yield found


def test_every_kind_at_every_place_can_be_hidden_once() -> None:
    found = list_plantable(LOOP)
    told = [(f.kind, f.place) for faults in found.values() for f in faults]
    assert len(told) == len(set(told))
    assert set(told) == {(f.kind, f.place) for f in list_faults(LOOP)}


@pytest.mark.parametrize(
    ("fault", "complaints"),
    [
        ("end_resistor_missing@end", {"constant_trouble"}),
        ("detector_dead@det4", {"one_does_not_report"}),
        ("mains_off@panel", {"supply_trouble"}),
        ("joint_resistive=0.1@det3.in+", set[str]()),
        ("healthy", set[str]()),
    ],
)
def test_what_is_complained_of_is_what_the_sound_loop_does_not_show(fault: str, complaints: set[str]) -> None:
    assert complaints <= set(list_complaints(BAKERY.site, fault))
    assert bool(complaints) == bool(list_complaints(BAKERY.site, fault))


def test_a_fault_that_the_loop_cannot_have_or_nobody_complains_of_is_not_hidden(store: CaseStore) -> None:
    for fault, symptom in (
        ("supply_on_no@reset", "constant_trouble"),
        ("end_resistor_missing@end", "supply_trouble"),
        ("healthy", "constant_trouble"),
        ("end_resistor_missing@end", ""),
    ):
        with pytest.raises(FaultError):
            plant_fault(store, replace(BAKERY, symptom=symptom), fault)
    assert store.list_cases() == ()


def test_what_is_typed_of_its_ohms_is_what_is_hidden() -> None:
    assert parse_planted("joint_resistive", "det3.in+", " 1k8 ", LOOP).value_ohm == 1800
    assert parse_planted("head_off", "det3", "", LOOP).text == "head_off@det3"
    with pytest.raises(FaultError):
        parse_planted("joint_resistive", "det3.in+", "lots", LOOP)


def test_the_model_s_own_way_is_as_foretold_and_ends_with_what_was_hidden(store: CaseStore) -> None:
    foretold = rehearse_model(BAKERY, "end_resistor_wrong=1k@end")
    case = plant_fault(store, BAKERY, "end_resistor_wrong=1k@end")
    assert find_model_way(case) == foretold
    assert foretold.mended
    assert foretold.in_vain == 0
    assert foretold.minutes > read_catalogue().remedies["fit_end_resistor"].minutes
    assert count_own_way(case) == replace(foretold, readings=0, minutes=0.0, mended=False)


def test_two_hidden_faults_are_both_gone_after(store: CaseStore) -> None:
    case = plant_fault(store, BAKERY, "battery_dead@panel,leak=1800@det3.in")
    assert find_model_way(case).mended
    half = record_repair(store, case, "replace_battery@panel", cured=True)
    assert [f.kind for f in list_left(half, LOOP)] == ["leak"]
    assert not count_own_way(half).mended


def test_minutes_are_those_of_the_way_taken_and_a_sound_part_that_was_repaired_counts(store: CaseStore) -> None:
    """Volts at the zone, then at the end: 1.5 min there, 4 min up and 1.5 min; what is told without a walk is free."""
    case = plant_fault(store, BAKERY, "end_resistor_missing@end")
    for red, value in (("panel.zone1", "23.9 V"), ("det8.in", "23.8 V")):
        reading = Reading("volts", value, f"{red}+", f"{red}-", mode="standby", taken_at=datetime.now(UTC))
        case = record_reading(store, case, reading)
    loop = build_bench(case.site).loop
    assert count_own_way(case).readings == 2
    walked = count_own_way(case).minutes
    case = record_repair(store, case, "swap_zone_input@zone1", cured=False)
    remedies = read_catalogue().remedies
    assert count_own_way(case).minutes == pytest.approx(walked + remedies["swap_zone_input"].minutes)
    assert (count_own_way(case).in_vain, count_own_way(case).mended) == (1, False)
    case = record_repair(store, case, "set_zone_right@zone1", cured=False, note=RepairNote((), "right"))
    assert count_own_way(case).in_vain == 1, "it was found right, and nothing was done"
    case = record_repair(store, case, "fit_end_resistor@end", cured=True)
    assert (count_own_way(case).in_vain, count_own_way(case).mended) == (1, True)
    assert list_left(case, loop) == ()
    assert find_hidden(case) == "end_resistor_missing@end"
