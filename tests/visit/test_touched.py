"""Which detectors the fixed tests name as touched: whoever had a hand on one has its report to prove."""

from dataclasses import replace
from datetime import UTC, datetime

import pytest

from diagnostics.cases import Case, Reading, Repair, Retraction, write_site
from diagnostics.locate import find_shipped
from diagnostics.reports import Words, tell_test
from diagnostics.visit import FUNCTIONAL, list_proof
from diagnostics.wiring import QuickDescription, build_loop, build_quick_site, read_site

SETTING = "set_zone_right@zone1"  # a repair that touches no detector
AT = datetime(2026, 3, 14, 10, 42, tzinfo=UTC)


def list_touched(readings: tuple[Reading, ...] = (), repair: str = SETTING, site: str = "bakery") -> list[str]:
    """Return the detectors that are on the list as touched, after readings and a repair."""
    case = build(site, readings, repair)
    return [i.at for i in list_proof(case, build_loop(case.site)) if i.test == FUNCTIONAL and "touched" in i.reasons]


def build(site: str, readings: tuple[Reading, ...], repair: str) -> Case:
    found = read_site(find_shipped("cases") / "sites" / f"{site}.yaml")
    return Case(found, write_site(found), readings=readings, repairs=(Repair(repair, AT, cured=True),))


@pytest.mark.parametrize(
    "reading",
    [
        Reading("head_off", "trouble", at="det3", mode="head_off:det3"),
        Reading("dark_with_head_off", "none", at="det3", mode="head_off:det3"),
        Reading("earth_opened", "right", at="det3", mode="opened:det3"),
        Reading("look", "as_it_should_be", at="det3"),
        Reading("volts", "19.1", "det3.in+", "det3.in-"),
        Reading("volts", "19.1", "det3.out+", "det3.out-"),
    ],
    ids=lambda r: f"{r.measurement} {r.red}",
)
def test_reading_that_took_a_head_or_terminals_in_hand_puts_its_detector_on_the_list(reading: Reading) -> None:
    assert list_touched((reading,)) == ["det3"]


@pytest.mark.parametrize(
    "reading",
    [
        Reading("lamp", "lit", at="det3"),
        Reading("functional_test", "no_report", at="det3", mode="after_reset:det3"),
        Reading("volts", "19.1", "panel.zone1+", "panel.zone1-"),
        Reading("which_dark", "det3,det4", at="loop"),
    ],
    ids=lambda r: r.measurement,
)
def test_reading_that_only_looks_or_meters_at_the_panel_touches_none(reading: Reading) -> None:
    assert list_touched((reading,)) == []


def test_heads_that_were_swapped_are_both_on_the_list() -> None:
    swapped = Reading("heads_swapped", "other_place", at="det3", mode="after_reset:det3")
    assert list_touched((swapped,)) == ["det2", "det3"]


def test_reading_that_was_taken_back_took_the_head_in_hand_all_the_same() -> None:
    reading = Reading("head_off", "trouble", at="det3", mode="head_off:det3")
    case = replace(build("bakery", (), SETTING), retracted=(Retraction(reading, AT),))
    names = [i.at for i in list_proof(case, build_loop(case.site)) if "touched" in i.reasons]
    assert names == ["det3"]


@pytest.mark.parametrize(
    ("repair", "touched"),
    [
        ("put_wires_right@det3", ["det3"]),
        ("mend_conductor@run det3", ["det2", "det3"]),
        ("mend_conductor@run det1", ["det1"]),
        ("fit_end_resistor@end", ["det8"]),
        ("mend_conductor + fit_head@run det3 + det5", ["det2", "det3", "det5"]),
        ("wire at detector 3 fixed, det. 5 cleaned", ["det3", "det5"]),
        ("loose wire in the Corridor", ["det3"]),
        ("a loose wire", []),
        ("detector 80 swapped", []),
    ],
)
def test_repair_puts_every_detector_that_it_was_made_at_on_the_list(repair: str, touched: list[str]) -> None:
    assert list_touched(repair=repair) == touched


def test_run_to_detector_12_is_none_to_detector_1() -> None:
    site, _ = build_quick_site(QuickDescription("two_wire_zone", "12"))
    case = Case(site, write_site(site), repairs=(Repair("mend_conductor@run det12", AT, cured=True),))
    touched = [i.at for i in list_proof(case, build_loop(site)) if "touched" in i.reasons]
    assert touched == ["det11", "det12"]


def test_detector_that_had_to_be_found_is_tested_too_though_it_has_no_number() -> None:
    case = build("chapel_school", (), "clean_detector@detector")
    loop = build_loop(case.site)
    (item,) = (i for i in list_proof(case, loop) if "touched" in i.reasons)
    assert tell_test(item, Words(loop)) == "Functional test of the detector that shows it, through to the right zone"
