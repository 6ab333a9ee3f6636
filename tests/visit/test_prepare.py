"""Reckoning ahead: it warms the bench, changes nothing, and a loop that cannot be reckoned harms nobody."""

import logging
from dataclasses import replace

import pytest

from diagnostics.cases import Case, write_site
from diagnostics.locate import find_shipped
from diagnostics.readings import list_measurements, list_tokens
from diagnostics.visit import assess_case, list_likely_answers, prepare, simulate_reading
from diagnostics.wiring import QuickDescription, build_quick_site, read_site

BAKERY = read_site(find_shipped("cases") / "sites" / "bakery.yaml")
CALL = Case(BAKERY, write_site(BAKERY), contexts=("new",), symptom="constant_trouble")


def describe(count: str) -> Case:
    site, _ = build_quick_site(QuickDescription(style="two_wire_zone", detectors=count, name=f"loop of {count}"))
    return Case(site, write_site(site), symptom="constant_trouble")


def test_reckoning_ahead_ends_and_gives_what_reckoning_gives() -> None:
    case = describe("3")
    thread = prepare(case)
    assert thread is not None
    thread.join(60)
    assert not thread.is_alive()
    once = assess_case(case).diagnosis
    assert assess_case(replace(case, case_id="x")).diagnosis.next == once.next


def test_long_loop_is_not_reckoned_ahead() -> None:
    assert prepare(describe("41")) is None


def test_case_that_cannot_be_reckoned_is_logged_and_harms_nobody(caplog: pytest.LogCaptureFixture) -> None:
    with caplog.at_level(logging.WARNING, logger="ohmward"):
        thread = prepare(replace(CALL, symptom="no such complaint"))
        assert thread is not None
        thread.join(60)
    assert "could not reckon ahead" in caplog.text


def test_look_offers_what_can_be_found_there_and_no_word_of_another_place() -> None:
    assessment = assess_case(CALL)
    looks = {m.at: m for m in list_measurements(assessment.loop) if m.kind == "look"}
    at_five, at_end = (set(list_likely_answers(assessment, looks[at])) for at in ("det5", "det8"))
    assert {"as_it_should_be", "wire_off", "in_out_swapped"} <= at_five
    assert at_five.isdisjoint({"supply_on_no", "com_not_fed", "resistor_missing"})
    assert "resistor_missing" in at_end
    assert len(at_five) < len(list_tokens(looks["det5"], assessment.loop)) / 2


@pytest.mark.parametrize("hidden", ["end_resistor_missing@end", "in_out_swapped@det3", "conductor_open@det5.in+"])
def test_what_a_hidden_fault_shows_is_among_the_likely_answers(hidden: str) -> None:
    assessment = assess_case(CALL)
    for m in list_measurements(assessment.loop):
        if m.kind == "look":
            assert simulate_reading(assessment.loop, hidden, m) in list_likely_answers(assessment, m)
