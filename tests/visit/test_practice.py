"""A hidden fault: what can be hidden, what is complained of, and how it was gone after, in readings and minutes."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest

from diagnostics.cases import Case, CaseStore, Condition, Reading, parse_site_text
from diagnostics.errors import CaseError, FaultError, QuantityError
from diagnostics.faults import list_faults, read_catalogue
from diagnostics.locate import find_shipped
from diagnostics.readings import list_measurements
from diagnostics.visit import (
    RepairNote,
    build_bench,
    close_case,
    count_own_way,
    deny_cure,
    describe_site,
    find_hidden,
    find_model_way,
    find_usual,
    list_complaints,
    list_left,
    list_plantable,
    list_visits,
    parse_planted,
    plant_fault,
    record_reading,
    record_repair,
    rehearse_model,
    simulate_now,
    simulate_reading,
    take_back_repair,
)
from diagnostics.wiring import build_loop


def build_case(name: str, symptom: str = "constant_trouble") -> Case:
    text = (find_shipped("cases") / "sites" / f"{name}.yaml").read_text("utf-8")
    return Case(parse_site_text(text, "site"), text, contexts=("aged",), symptom=symptom)


BAKERY = build_case("bakery")
LOOP = build_loop(BAKERY.site)
ZONE_VOLTS = ("volts", "panel.zone1+", "standby")


@pytest.fixture
def store(tmp_path: Path) -> Iterator[CaseStore]:
    with CaseStore(f"sqlite:///{tmp_path / 'cases.sqlite3'}") as found:
        yield found


def test_every_kind_at_every_place_can_be_hidden_once() -> None:
    found = list_plantable(LOOP)
    told = [(f.kind, f.place) for faults in found.values() for f in faults]
    assert len(told) == len(set(told))
    assert set(told) == {(f.kind, f.place) for f in list_faults(LOOP)}


@pytest.mark.parametrize("kind", ["end_resistor_wrong", "joint_resistive", "leak", "zone_feed_resistive"])
def test_a_value_that_is_offered_is_one_that_somebody_complains_of(kind: str) -> None:
    """Of an end resistor 3.9 kΩ lies in the middle of those tried, and near enough to 4.7 kΩ to read as normal."""
    fault = list_plantable(LOOP)[kind][-1]
    usual = find_usual(BAKERY.site, fault)
    assert (usual.kind, usual.place) == (fault.kind, fault.place)
    assert list_complaints(BAKERY.site, usual.text)


def test_what_has_no_value_stays_as_it_is() -> None:
    (missing,) = list_plantable(LOOP)["end_resistor_missing"]
    assert find_usual(BAKERY.site, missing) == missing


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


@pytest.mark.parametrize("typed", ["lots", "-5", "0", "1e12", "1e300", "5 V", "5@end", "1,head_off", "OL"])
def test_ohms_that_no_fault_has_are_refused_without_the_names_that_files_use(typed: str) -> None:
    with pytest.raises(QuantityError) as refused:
        parse_planted("joint_resistive", "det3.in+", typed, LOOP)
    assert "joint" not in f"{refused.value} {refused.value.hint}"
    assert "PLACE" not in f"{refused.value} {refused.value.hint}"


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


def read_at_zone(store: CaseStore, case: Case, condition: Condition = "") -> Case:
    reading = Reading("volts", "19.1 V", "panel.zone1+", "panel.zone1-", mode="standby", condition=condition)
    return record_reading(store, case, replace(reading, taken_at=datetime.now(UTC)))


def test_what_is_read_in_the_tests_after_the_repair_is_none_of_the_search(store: CaseStore) -> None:
    """Its minutes are left out on the closed page, for the model as for whoever worked; so are its readings."""
    case = read_at_zone(store, plant_fault(store, BAKERY, "end_resistor_missing@end"))
    case = record_repair(store, case, "fit_end_resistor@end", cured=True)
    searched = count_own_way(case)
    case = read_at_zone(store, case, "absent")
    assert len(case.readings) == 2
    assert searched.readings == 1
    assert count_own_way(case) == searched
    case = read_at_zone(store, deny_cure(store, case), "present")
    assert count_own_way(case).readings == 3, "it came back: what was read then belongs to the search"


def test_a_reading_of_a_complaint_that_was_away_counts_before_any_repair(store: CaseStore) -> None:
    case = read_at_zone(store, plant_fault(store, BAKERY, "end_resistor_missing@end"), "absent")
    assert count_own_way(case).readings == 1


def test_a_repair_that_was_taken_back_has_put_nothing_right(store: CaseStore) -> None:
    case = plant_fault(store, BAKERY, "end_resistor_missing@end")
    case = record_repair(store, case, "fit_end_resistor@end", cured=True)
    assert list_left(case, LOOP) == ()
    case = take_back_repair(store, case, 0)
    assert [f.text for f in list_left(case, LOOP)] == ["end_resistor_missing@end"]
    assert not count_own_way(case).mended


def test_what_is_filled_in_agrees_with_what_is_said_to_be_left(store: CaseStore) -> None:
    """Whoever says "still faulty" of the right repair reads a sound loop all the same: it was told to be gone."""
    case = plant_fault(store, BAKERY, "end_resistor_missing@end")
    (zone,) = [m for m in list_measurements(LOOP) if (m.kind, m.red, m.mode.word) == ZONE_VOLTS]
    assert simulate_now(case, LOOP, zone) == simulate_reading(LOOP, "end_resistor_missing@end", zone)
    case = record_repair(store, case, "fit_end_resistor@end", cured=False)
    assert simulate_now(case, LOOP, zone) == simulate_reading(LOOP, "", zone)
    assert simulate_reading(LOOP, "", zone) != simulate_reading(LOOP, "end_resistor_missing@end", zone)


def test_of_a_repair_in_plain_words_it_is_not_said_that_the_part_was_sound(store: CaseStore) -> None:
    case = plant_fault(store, BAKERY, "end_resistor_missing@end")
    case = record_repair(store, case, "tightened a terminal at detector 7", cured=False)
    assert count_own_way(case).in_vain == 0
    assert not count_own_way(case).mended


def test_practice_that_was_left_impaired_does_not_stand_before_real_work(store: CaseStore) -> None:
    real = store.create_case(BAKERY)
    practice = plant_fault(store, BAKERY, "end_resistor_missing@end")
    close_case(store, practice, "left_impaired")
    impaired = store.create_case(BAKERY)
    close_case(store, impaired, "left_impaired")
    order = [v.case_id for v in list_visits(store) if not isinstance(v, str)]
    assert order == [impaired.case_id, real.case_id, practice.case_id]


def test_a_loop_with_a_hidden_fault_is_not_described_anew_and_the_refusal_tells_nothing(store: CaseStore) -> None:
    case = plant_fault(store, BAKERY, "conductor_open@det8.in+")
    text = build_case("foundry").site_text
    with pytest.raises(CaseError) as refused:
        describe_site(store, case, text)
    assert "det8" not in str(refused.value)
    assert "conductor" not in str(refused.value)
    assert store.load_case(case.case_id).site == BAKERY.site
    same = describe_site(store, case, BAKERY.site_text.replace("room: shop", "room: front shop"))
    assert find_model_way(same).mended, "a room may be called otherwise"
