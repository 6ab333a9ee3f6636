"""A help desk with a caller on the phone: asked in a caller's words, and only for what a caller can do."""

import re
from datetime import UTC, datetime
from pathlib import Path

import pytest

from diagnostics.cases import Acknowledgement, Case, CaseStore, Reading
from diagnostics.circuit import STANDBY
from diagnostics.readings import list_measurements
from diagnostics.reports import Region, Words, read_words, tell_caution
from diagnostics.visit import (
    TOOLS,
    assess_case,
    find_listener,
    record_reading,
    record_repair,
    tell_complaint,
    tell_listener,
)
from diagnostics.visit.listener import FOR_TECHNICIANS, find_left_out, name_listener
from diagnostics.wiring import build_loop, read_site
from tests.cases.invented import SITE_TEXT as NUMBERED
from tests.screens.conftest import SAFETY, Visitor
from tests.screens.real_work import describe, describe_call

SITES = Path(__file__).parents[2] / "cases" / "sites"
ASKED_OTHERWISE = (
    "ohms_lifted",
    "ohms_to_earth",
    "which_dark_returned",
    "how_many_dark_returned",
    "earth_opened_cut_off",
    "volts_opened",
    "volts_pair_lifted",
    "volts_both_lifted",
    "volts_known_resistor",
    "volts_field",
    "volts_cut_off",
)
REFUSED = "This one is for a technician"


def call(visitor: Visitor) -> Visitor:
    """Take a call about a loop of five detectors, up to its first step."""
    visitor.tap("new_case").pick("Who is asking?", "caller")
    for key in (*SAFETY, "for_us_yes"):
        visitor.tap(key)
    visitor.type("How many detectors are on it?", "5").tap("describe_use").complain("constant_trouble")
    return visitor.tap("complaint_use")


def test_a_technician_on_the_phone_is_asked_as_one(visitor: Visitor) -> None:
    visitor.tap("new_case")
    assert "choose Technician" not in visitor.text
    assert "Is a technician on the phone, choose Technician" in visitor.pick("Who is asking?", "caller").text


def test_caller_is_not_asked_for_tools_and_measures_nothing_and_opens_no_cabinet(visitor: Visitor) -> None:
    call(visitor)
    assert visitor.case.can == ()
    loop = assess_case(visitor.case).loop
    measured = {m.key for m in list_measurements(loop) if m.unit or m.kind == "look" or "live_cabinet" in m.cautions}
    assert {key.partition("|")[0] for key in measured} >= {"volts", "ohms", "look", "known_resistor"}
    assert measured <= find_left_out(visitor.case, loop)
    visitor.tap("to_complaint")
    assert not [g.label for g in visitor.at.button_group if "at hand" in g.label or "with you" in g.label]


# What a caller must not be told to do, by any page; *nobody*, *nothing* and *only a technician* are said of them.
ORDERS = (
    r"\b([Ll]ift|[Mm]easure|prove|[Oo]pen|[Uu]nscrew|[Cc]limb|[Pp]ut (?:red|everything)|[Tt]ake (?:the|off)|[Ll]eads)\b"
)
ORDERS += r"|look at the far"
DENIED = r"opens nothing|open nothing|[Nn]obody climbs or opens anything|measure nothing|only a technician opens it"
DENIED += r"|opens, presses and tests nothing|or opens a pre-action valve|what this tool would ask"


def find_orders(text: str) -> list[str]:
    return re.findall(ORDERS, re.sub(DENIED, "", text))


@pytest.mark.parametrize("region", ["north_america", "europe"])
def test_four_first_pages_and_the_fifth_speak_to_the_one_on_the_phone(store: CaseStore, region: Region) -> None:
    visitor = Visitor(store, region=region).tap("new_case")
    technician = visitor.text
    visitor.pick("Who is asking?", "caller")
    assert visitor.text != technician
    for key, caution in zip(SAFETY, ("is_it_real", "outputs", "tell_people", "evidence_first"), strict=True):
        assert "Ask the caller:" in visitor.text
        assert tell_caution(caution, region, "caller")[1] in visitor.text
        assert tell_caution(caution, region)[1] not in visitor.text
        assert find_orders(visitor.text) == []
        visitor.tap(key)
    assert "The caller opens nothing to find out" in visitor.text
    assert find_orders(visitor.text) == []
    assert "opens, presses and tests nothing" in visitor.tap("for_us_no").text


def test_how_a_loop_is_wired_is_not_found_out_by_opening_anything(visitor: Visitor) -> None:
    """Found by trying: a caller who was told to open nothing was to count conductors at a detector."""
    visitor.tap("new_case").pick("Who is asking?", "caller")
    for key in (*SAFETY, "for_us_yes"):
        visitor.tap(key)
    assert "Nothing is opened for this." in visitor.text
    assert "Count the conductors" not in visitor.text


def test_words_that_an_order_is_found_by_find_those_to_a_technician() -> None:
    for name in ("live_cabinet", "before_ohms", "ladder", "put_back"):
        assert find_orders(tell_caution(name)[1]), name


def test_no_caution_tells_a_caller_to_do_a_technicians_work() -> None:
    table = read_words()
    assert set(table.caller_cautions) == set(table.cautions) - {"outranked"}
    assert [name for name in table.cautions if find_orders(tell_caution(name, listener="caller")[1])] == []


def test_what_a_technician_reports_is_noted_and_the_caller_is_told_of_no_test_or_meter(store: CaseStore) -> None:
    case = tell_listener(store, describe(store), "caller")
    own = Visitor(store, case.case_id, view="repair")
    assert tell_caution("live_cabinet", listener="caller")[1] in own.text
    assert tell_caution("live_cabinet")[1] not in own.text
    proof = Visitor(store, record_repair(store, case, "fit_end_resistor@end", cured=True).case_id)
    assert "The caller does none of them." in proof.text
    assert not [f.label for f in proof.at.text_input if f.label == "What does the meter show?"]


def test_verdict_says_that_it_is_for_a_technician_and_asks_a_caller_for_no_volts(store: CaseStore) -> None:
    case = tell_listener(store, describe_call(store), "caller")
    text = Visitor(store, case.case_id).text
    assert "This is work for a technician." in text
    assert "Remake the terminations" in text
    assert "Then measure the zone volts again" not in text


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


def test_caller_with_every_tool_still_opens_lifts_measures_and_tests_nothing(store: CaseStore) -> None:
    case = tell_complaint(store, describe(store), "constant_trouble", ("new",), TOOLS)
    visitor = Visitor(store, tell_listener(store, case, "caller").case_id).tap("lead")
    seen = set()
    for _ in range(12):
        action = assess_case(visitor.case).diagnosis.next
        if action is None or action.measurement is None:
            break
        m = action.measurement
        seen.add(m.kind)
        assert m.kind not in FOR_TECHNICIANS
        assert not m.unit
        visitor.tap("cannot")
        if visitor.has("cannot_else"):
            visitor.tap("cannot_else")
    assert "panel_shows" in seen


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


@pytest.mark.parametrize("path", sorted(SITES.glob("*.yaml")), ids=lambda p: p.stem)
def test_nothing_that_resets_or_lifts_is_asked_of_a_caller_on_any_loop(path: Path) -> None:
    """Not even to listen: whoever is told to stand at a relay while somebody resets has to know which box that is."""
    site = read_site(path)
    loop, asked = build_loop(site), [Acknowledgement(name_listener("caller"), datetime.now(UTC))]
    left_out = find_left_out(Case(site, path.read_text("utf-8"), acknowledged=tuple(asked)), loop)
    kept = [m for m in list_measurements(loop) if m.key not in left_out]
    assert {m.kind for m in kept} >= {"panel_shows", "supply_lamps"}
    assert [m.key for m in kept if m.kind == "listen" or m.mode != STANDBY] == []


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
