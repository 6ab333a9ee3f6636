"""A help desk with a caller on the phone: asked in a caller's words, and only for what a caller can do."""

from pathlib import Path

from diagnostics.cases import CaseStore, Reading
from diagnostics.readings import list_measurements
from diagnostics.reports import Words, read_words, tell_caution
from diagnostics.visit import (
    assess_case,
    find_listener,
    record_reading,
    record_repair,
    tell_listener,
)
from diagnostics.visit.listener import FOR_TECHNICIANS, find_left_out
from diagnostics.wiring import build_loop, read_site
from tests.cases.invented import SITE_TEXT as NUMBERED
from tests.screens.conftest import SAFETY, Visitor
from tests.screens.real_work import describe

SITES = Path(__file__).parents[2] / "cases" / "sites"
ASKED_OTHERWISE = (
    "ohms_lifted",
    "ohms_to_earth",
    "which_dark_returned",
    "how_many_dark_returned",
    "earth_opened_cut_off",
    "volts_opened",
    "volts_pair_lifted",
    "volts_known_resistor",
    "volts_field",
    "volts_cut_off",
)
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


def test_caller_of_whom_nothing_is_said_has_nothing_at_hand_and_opens_no_cabinet(visitor: Visitor) -> None:
    visitor.tap("new_case").pick("Who is asking?", "caller")
    for key in (*SAFETY, "for_us_yes"):
        visitor.tap(key)
    visitor.type("How many detectors are on it?", "5").tap("describe_use").complain("constant_trouble")
    visitor.choose("What does the caller have at hand?")  # *none of these* was tapped, and so taken away
    assert "Nothing chosen, the caller has nothing at hand" in visitor.text
    visitor.tap("complaint_use")
    assert visitor.case.can == ()
    loop = assess_case(visitor.case).loop
    looks = {m.key for m in list_measurements(loop) if m.kind == "look"}
    assert looks
    assert looks <= find_left_out(visitor.case, loop)


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
    assert refused == {*FOR_TECHNICIANS, *ASKED_OTHERWISE}
    loop = build_loop(read_site(SITES / "guest_house.yaml"))
    kept = [m for m in list_measurements(loop) if m.kind not in FOR_TECHNICIANS and m.mode.word in {"standby", ""}]
    assert kept
    assert not [m.key for m in kept if REFUSED in Words(loop, "caller").ask(m)]


def test_caller_is_asked_for_rooms_and_never_for_the_number_of_a_detector(visitor: Visitor) -> None:
    visitor.tap("new_case").pick("Who is asking?", "caller")
    for key in (*SAFETY, "for_us_yes"):
        visitor.tap(key)
    (rooms,) = (a for a in visitor.at.text_area if a.label.startswith("Which rooms have a detector?"))
    rooms.set_value("attic\ngym\nhall")
    visitor.run()
    visitor.type("How many detectors are on it?", "5").tap("describe_use").complain("constant_trouble")
    visitor.tap("complaint_use").tap("lead")
    assert visitor.case.site.loops[0].order == "unknown"
    for _ in range(6):
        m = assess_case(visitor.case).diagnosis.next
        if m is None or m.measurement is None:
            break
        assert not m.measurement.is_sought
        assert not m.measurement.at.startswith("det")
        visitor.tap("cannot")


def test_rooms_can_be_named_with_the_caller_where_the_description_has_only_numbers(store: CaseStore) -> None:
    case = tell_listener(store, describe(store, NUMBERED), "caller")
    visitor = Visitor(store, case.case_id, asked="which_dark|loop|standby")
    assert visitor.has("rooms_use")
    visitor.at.text_area(key="q_rooms").set_value("attic\ngym\nhall")
    visitor.run()
    visitor.tap("rooms_use")
    assert not visitor.has("rooms_use")
    assert [d.room for d in visitor.case.site.loops[0].all_detectors][:3] == ["attic", "gym", "hall"]
    (pills,) = (g for g in visitor.at.button_group if g.label == "Which ones are dark? Tap all of them.")
    assert [str(o) for o in pills.options][1:4] == ["the detector “attic”", "the detector “gym”", "the detector “hall”"]


def test_nobody_is_talked_up_a_ladder_and_the_caution_is_worded_for_the_caller(store: CaseStore) -> None:
    loop = build_loop(read_site(SITES / "bakery.yaml"))
    case = tell_listener(store, describe(store), "caller")
    left_out = find_left_out(case, loop)
    assert {m.key for m in list_measurements(loop) if "ladder" in m.tools} <= left_out
    assert tell_caution("ladder")[1].startswith("Read this step, put the phone away, climb")
    assert "climb" not in tell_caution("ladder", listener="caller")[1].replace("Nobody climbs", "")
    case = record_reading(store, case, Reading("volts", "23.9", "panel.zone1+", "panel.zone1-"))
    visitor = Visitor(store, record_repair(store, case, "fit_end_resistor@end", cured=True).case_id)
    assert "put the phone away" not in visitor.text
    assert "Nobody climbs or opens anything for this call" in visitor.text


def test_list_of_cases_marks_those_of_the_help_desk(store: CaseStore) -> None:
    phone, site = tell_listener(store, describe(store), "caller").case_id, describe(store).case_id
    labels = {b.key: b.label for b in Visitor(store).at.button}
    assert "☎ help desk" in labels[f"open {phone}"]
    assert "☎" not in labels[f"open {site}"]
