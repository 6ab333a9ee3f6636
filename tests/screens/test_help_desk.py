"""A help desk with a caller on the phone: asked in a caller's words, and only for what a caller can do."""

from pathlib import Path

from diagnostics.readings import list_measurements
from diagnostics.reports import Words, read_words
from diagnostics.visit import assess_case, find_listener
from diagnostics.visit.listener import FOR_TECHNICIANS
from diagnostics.wiring import build_loop, read_site
from tests.screens.conftest import SAFETY, Visitor

SITES = Path(__file__).parents[2] / "cases" / "sites"
REFUSED = "This one is for a technician"


def call(visitor: Visitor, *tools: str) -> Visitor:
    """Take a call about a loop of five detectors, up to its first step; ``tools`` are what the caller has."""
    visitor.tap("new_case").pick("Who is asking?", "caller")
    for key in (*SAFETY, "for_us_yes"):
        visitor.tap(key)
    visitor.type("How many detectors are on it?", "5").tap("describe_use").complain("constant_trouble")
    if tools:
        visitor.choose("What does the caller have at hand?", *tools)
    return visitor.tap("complaint_use")


def test_caller_is_asked_in_words_of_ones_own_and_for_nothing_that_needs_tools(visitor: Visitor) -> None:
    call(visitor)
    assert find_listener(visitor.case) == "caller"
    assert visitor.case.can == ()
    assert "Ask the caller:" in visitor.text
    visitor.tap("lead")
    for _ in range(4):
        m = assess_case(visitor.case).diagnosis.next
        if m is None or m.measurement is None:
            break
        asked = Words(assess_case(visitor.case).loop, "caller").ask(m.measurement)
        assert not m.measurement.tools
        assert f"## {asked}" in visitor.text
        assert REFUSED not in asked
        visitor.tap("cannot")
    assert find_listener(visitor.reload().case) == "caller"


def test_caller_with_a_meter_still_opens_lifts_and_tests_nothing(visitor: Visitor) -> None:
    call(visitor, "meter", "ladder", "tester", "resistor").tap("lead")
    seen = set()
    for _ in range(12):
        action = assess_case(visitor.case).diagnosis.next
        if action is None or action.measurement is None:
            break
        m = action.measurement
        seen.add(m.kind)
        assert m.kind not in FOR_TECHNICIANS
        assert not m.unit or m.mode.word == "standby"
        visitor.tap("cannot")
        if visitor.has("cannot_else"):
            visitor.tap("cannot_else")
    assert "volts" in seen


def test_technician_takes_the_case_over_whole_and_says_anew_what_is_at_hand(visitor: Visitor) -> None:
    call(visitor).tap("lead")
    visitor.pick("What did you find?", "trouble").tap("record").tap("on_site_now")
    assert find_listener(visitor.case) == "technician"
    assert visitor.case.can is None
    assert len(visitor.case.readings) == 1
    visitor.tap("complaint_use")
    assert "Ask the caller" not in visitor.text


def test_what_is_left_out_for_a_caller_is_what_the_words_refuse() -> None:
    refused = {kind for kind, told in read_words().ask.items() if told.caller.startswith(REFUSED)}
    assert refused == {*FOR_TECHNICIANS, "ohms_to_earth", "which_dark_returned", "how_many_dark_returned"}
    loop = build_loop(read_site(SITES / "guest_house.yaml"))
    kept = [m for m in list_measurements(loop) if m.kind not in FOR_TECHNICIANS and m.mode.word in {"standby", ""}]
    assert kept
    assert not [m.key for m in kept if REFUSED in Words(loop, "caller").ask(m)]
