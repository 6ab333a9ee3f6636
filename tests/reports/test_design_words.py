"""The design check in words: every complaint and every number can be said, in both dialects, with nothing left open."""

from pathlib import Path

import pytest

from diagnostics.proving import Design, check_design
from diagnostics.proving.design import CODES, OWN_CODES
from diagnostics.reports import Region, build_design_object, build_design_table
from diagnostics.reports.design import read_design_words
from diagnostics.wiring import Loop, QuickDescription, build_loop, build_quick_site, read_site

SITES = Path(__file__).parents[2] / "cases" / "sites"


def check(name: str) -> tuple[Design, Loop]:
    """Return the check of a shipped site."""
    loop = build_loop(read_site(SITES / f"{name}.yaml"))
    return check_design(loop), loop


@pytest.mark.parametrize("region", ["north_america", "europe"])
@pytest.mark.parametrize("name", ["bakery", "nursery", "orchard", "observatory", "mill"])
def test_every_number_is_said_with_its_limit_and_where_that_is_from(name: str, region: Region) -> None:
    design, loop = check(name)
    table = build_design_table(design, loop, region)
    assert len(table.lines) == len(design.rows) - 1  # the battery by the rule of one region only
    for line in table.lines:
        assert line.what
        assert line.value
        assert line.source in read_design_words().sources.values()
        assert "{" not in f"{line}"
        assert bool(line.limit) is bool(line.worst) is bool(line.verdict)
    assert any(("30 min" if region == "europe" else "5 min") in line.what for line in table.lines)


def test_every_code_has_words_for_failing_and_for_only_just_holding() -> None:
    assert set(read_design_words().flaws) == {*CODES.values(), *OWN_CODES.values()}


def test_too_many_detectors_are_told_with_how_many_there_may_be() -> None:
    site, _ = build_quick_site(QuickDescription("two_wire_zone", "24", "4.7 kΩ", "18 AWG", "10 m"))
    loop = build_loop(site)
    ((severity, message, hint),) = build_design_table(check_design(loop), loop).told
    assert severity == "Warning"
    assert "21.6 V without its end resistor" in message
    assert "a missing end resistor would be hidden" in message
    assert "the loop has 24 and carries 23 of this kind" in hint
    assert "generic profile" in hint


def test_limit_from_the_site_file_is_not_said_to_be_of_a_generic_profile() -> None:
    design, loop = check("pottery")
    lines = {line.what: line for line in build_design_table(design, loop).lines}
    assert lines["Zone 1, with all in order"].source == "site file"
    assert lines["Zone 1, with all in order"].limit == "14 V to 21.5 V"
    assert lines["Load of the auxiliary output, with all in alarm"].source == "generic profile (invented)"


def test_silent_defect_is_told_in_the_words_of_the_diagnosis() -> None:
    ((_, message, _),) = build_design_table(*check("ticket_hall")).told
    assert message.startswith("No supervision relay at the end of the detector supply")


def test_object_has_si_numbers_and_null_where_there_is_no_limit() -> None:
    rows = build_design_object(check("bakery")[0])
    (last,) = [r for r in rows if (r["check"], r["condition"]) == ("volts", "standby")]
    assert (last["at"], last["unit"], last["floor"], last["ceiling"]) == ("det8", "V", 8.0, None)
    assert last["low"] < last["value"] < last["high"]
    assert {r["verdict"] for r in rows if r["check"] == "battery"} == {None}
    assert {r["verdict"] for r in rows if r["check"] != "battery"} == {"holds"}
