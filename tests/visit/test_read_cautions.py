"""Cautions stand in full the first time a step needs them, and those of an alarm or a reset every time."""

from dataclasses import replace
from datetime import UTC, datetime

from diagnostics.cases import Acknowledgement, Case, Reading, Repair, write_site
from diagnostics.locate import find_shipped
from diagnostics.visit import SAFETY, list_read_cautions, list_read_for_repair
from diagnostics.wiring import build_loop, read_site

AT = datetime(2026, 3, 14, 10, 42, tzinfo=UTC)
SITE = read_site(find_shipped("cases") / "sites" / "bakery.yaml")
LOOP = build_loop(SITE)
SAFE = Case(SITE, write_site(SITE), acknowledged=tuple(Acknowledgement(name, AT) for name in SAFETY))
TEST = ("outputs", "tell_people", "evidence_first", "ladder")


def test_accepting_the_four_gates_is_no_reading_of_what_an_alarm_asks_for() -> None:
    assert list_read_cautions(SAFE, LOOP) == {"is_it_real", "evidence_first"}


def test_step_that_can_make_an_alarm_has_it_in_full_every_time() -> None:
    tested = Reading("functional_test", "no_report", at="det3", mode="after_reset:det3")
    case = replace(SAFE, readings=(tested,))
    assert {"outputs", "tell_people", "ladder"} <= list_read_cautions(case, LOOP)
    assert not {"outputs", "tell_people"} & list_read_cautions(case, LOOP, TEST)
    assert "ladder" in list_read_cautions(case, LOOP, TEST)


def test_step_that_makes_none_is_reminded_of_what_was_read() -> None:
    case = replace(SAFE, readings=(Reading("volts", "23.9", "panel.zone1+", "panel.zone1-"),))
    assert "live_cabinet" in list_read_cautions(case, LOOP, ("live_cabinet",))


def test_setting_put_right_has_shown_nothing_of_a_zone_out_of_service() -> None:
    repairs = [Repair(told, AT, cured=False) for told in ("set_zone_right@zone1", "fit_end_resistor@end", "a wire")]
    read = {r.fault: list_read_cautions(replace(SAFE, repairs=(r,)), LOOP) for r in repairs}
    assert {fault: "out_of_service" in names for fault, names in read.items()} == {
        "set_zone_right@zone1": False,
        "fit_end_resistor@end": True,
        "a wire": True,
    }


def test_repair_that_changes_what_is_fed_or_resets_has_all_its_cautions_in_full_every_time() -> None:
    read = (
        Reading("volts", "23.9", "panel.zone1+", "panel.zone1-"),
        Reading("functional_test", "no_report", at="det3"),
    )
    case = replace(SAFE, readings=read, repairs=(Repair("fit_end_resistor@end", AT, cured=False),))
    for place in ("reset", "supply", "module", "panel", "zone1"):
        assert list_read_for_repair(case, LOOP, ("put_wires_right", place)) == frozenset()
    assert list_read_for_repair(case, LOOP, ("fit_head + put_wires_right", "det3 + reset")) == frozenset()
    assert list_read_for_repair(case, LOOP, None) == frozenset()


def test_repair_at_a_detector_is_reminded_of_what_was_read_but_for_what_goes_with_an_alarm() -> None:
    case = replace(SAFE, readings=(Reading("look", "wire_off", at="det3"),))
    told = list_read_for_repair(case, LOOP, ("mend_conductor", "run det3"))
    assert "ladder" in told
    assert not {"outputs", "tell_people", "evidence_first"} & told
