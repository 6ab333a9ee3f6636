"""At work: answers and how they are understood, leaving out, correcting, two people at once, verdict, closing."""

import re
from datetime import UTC, datetime, timedelta

import pytest

from diagnostics.cases import Acknowledgement, CaseStore, Reading
from diagnostics.readings import list_measurements
from diagnostics.visit import (
    assess_case,
    find_skipped,
    find_stage,
    find_wait_s,
    is_too_early,
    simulate_reading,
    start_clock,
    start_visit,
)
from tests.sampling import sample
from tests.screens.conftest import SAFETY, Visitor
from tests.screens.real_work import OWN, describe, write_note

HIDDEN = "end_resistor_missing@end"  # in the invented case
METER = "What does the meter show?"
FOUND = "What did you find?"
DARK = "Which ones are dark? Tap all of them."


def without_clock(text: str) -> str:
    """Leave out what counts down: a minute may pass between two looks."""
    return re.sub(r"\d+ h \d+ min", "", text)


def at_volts(visitor: Visitor) -> Visitor:
    """Go on to the first step that asks for volts: those at the terminals of the zone."""
    return visitor.pick(FOUND, "trouble").tap("record")


def at_walk(visitor: Visitor) -> Visitor:
    """Go on to the walk past the lamps."""
    return measure(at_volts(visitor).type(METER, "23.2").tap("record"), "panel", "which_dark|")


def at_verdict(visitor: Visitor) -> Visitor:
    """Answer each step as the invented case has it, until it is settled."""
    for _ in range(9):
        if visitor.has("list_none"):  # what else could be read up there is left alone
            visitor.tap("list_none")
        diagnosis = assess_case(visitor.case).diagnosis
        if diagnosis.settled or diagnosis.next is None or diagnosis.next.measurement is None:
            return visitor
        m = diagnosis.next.measurement
        text = simulate_reading(assess_case(visitor.case).loop, HIDDEN, m)
        assert text
        if m.unit:
            visitor.type(METER, text)
        elif m.kind == "which_dark":
            visitor.choose(DARK, *text.split(","))
        else:
            visitor.pick(FOUND, text)
        visitor.tap("record")
    pytest.fail("the invented case does not come to an end")


def measure(visitor: Visitor, where: str, key_begins: str) -> Visitor:
    """Turn to *I measured something else* and show the form of one measurement."""
    visitor.tap("something_else")
    visitor.at.selectbox(key="other_where").set_value(where)
    visitor.run()
    options = [m.key for m in list_measurements(assess_case(visitor.case).loop) if m.key.startswith(key_begins)]
    visitor.at.radio(key="other_what").set_value(options[0])
    return visitor.tap("other_show")


def test_first_step_says_what_why_how_long_and_with_which_caution(at_work: Visitor) -> None:
    minutes = "about 1 min, way included"
    for told in ("What does the panel show", "Why.", minutes, "Evidence first."):
        assert told in at_work.text
    assert any(e.label.startswith("What each answer would mean (") for e in at_work.at.expander)


def test_reading_is_in_the_store_when_the_next_step_is_shown(at_work: Visitor) -> None:
    at_work.pick(FOUND, "trouble").tap("record")
    (reading,) = at_work.case.readings
    assert (reading.measurement, reading.value) == ("panel_shows", "trouble")
    assert reading.taken_at is not None
    assert "Measure DC volts" in at_work.text


def test_nothing_chosen_is_refused_and_nothing_is_stored(at_work: Visitor) -> None:
    at_work.tap("record")
    assert "Choose an answer first." in at_work.text
    assert at_work.case.readings == ()


@pytest.mark.parametrize(
    ("typed", "told"),
    [
        ("2,5", "Understood: **2.5 V**"),
        ("850 mV", "Understood: **0.85 V**"),
        ("-12.4", "Understood: **−12.4 V**"),
        ("23.9 k", "volts are wanted"),
        ("abc", "does not read as volts"),
        ("1,234", "can mean 1.234 or 1234"),
        ("OL", "over range"),
    ],
)
def test_what_was_typed_is_understood_aloud_before_it_is_saved(at_work: Visitor, typed: str, told: str) -> None:
    at_volts(at_work).type(METER, typed)
    assert told in at_work.text
    assert len(at_work.case.readings) == 1


@pytest.mark.parametrize("typed", ["23.9 k", "abc", "", "1,234"])
def test_wrong_value_is_refused_with_a_hint_and_stays_in_its_field(at_work: Visitor, typed: str) -> None:
    at_volts(at_work).type(METER, typed).tap("record")
    assert at_work.at.error
    assert len(at_work.case.readings) == 1
    assert next(f for f in at_work.at.text_input if f.label == METER).value == typed


def test_none_dark_together_with_a_detector_is_refused(at_work: Visitor) -> None:
    at_walk(at_work).choose(DARK, "none", "det3").tap("record")
    assert at_work.at.error
    assert len(at_work.case.readings) == 2


def test_reload_shows_the_same_step(at_work: Visitor) -> None:
    at_work.pick(FOUND, "trouble").tap("record")
    again = Visitor(at_work.store, at_work.case_id)
    assert without_clock(again.text) == without_clock(at_work.text)


def test_left_out_step_is_not_asked_again_after_a_reload_until_it_is_taken_in(at_work: Visitor) -> None:
    at_work.tap("cannot")
    assert find_skipped(at_work.case) == {"panel_shows|panel|standby"}
    again = Visitor(at_work.store, at_work.case_id)
    assert "What does the panel show for this zone" not in again.text
    again.tap("again panel_shows")
    assert find_skipped(again.case) == frozenset()
    assert "What does the panel show for this zone" in again.text


def test_something_else_can_be_measured_and_recorded(at_work: Visitor) -> None:
    measure(at_work, "det3", "volts|det3.in+").type(METER, "23.1").tap("record")
    (reading,) = at_work.case.readings
    assert (reading.red, reading.black, reading.value) == ("det3.in+", "det3.in-", "23.1")


def test_form_of_ones_own_choice_leads_back_to_the_suggested_step(at_work: Visitor) -> None:
    measure(at_work, "det3", "volts|det3.in+").tap("back_to_next")
    assert "What does the panel show for this zone" in at_work.text


def test_meter_over_range_is_one_tap(at_work: Visitor) -> None:
    measure(at_work, "panel", "ohms|").tap("over ")
    assert "Understood: **OL**" in at_work.text


def test_correcting_takes_the_old_reading_back_and_keeps_it(at_work: Visitor) -> None:
    at_work.pick(FOUND, "alarm").tap("record").tap("correct ")
    assert "Correcting an earlier reading" in at_work.text
    at_work.pick(FOUND, "trouble").tap("record")
    case = at_work.case
    assert [r.value for r in case.readings] == ["trouble"]
    assert [(r.reading.value, r.why) for r in case.retracted] == [("alarm", "corrected")]


def test_wrong_correction_leaves_the_old_reading_standing(at_work: Visitor) -> None:
    at_volts(at_work).type(METER, "23.2").tap("record")
    volts_id = at_work.case.readings[1].reading_id
    at_work.tap(f"correct {volts_id}").type(METER, "abc").tap("record")
    assert [r.value for r in at_work.case.readings] == ["trouble", "23.2"]


def test_reading_taken_back_no_longer_counts(at_work: Visitor) -> None:
    at_work.pick(FOUND, "trouble").tap("record").tap("take_back ")
    assert at_work.case.readings == ()
    assert "What does the panel show for this zone" in at_work.text
    assert "Taken back: Panel display: **trouble**" in at_work.text


def test_second_person_sees_what_changed_and_loses_nothing(at_work: Visitor) -> None:
    at_volts(at_work)
    other = Visitor(at_work.store, at_work.case_id)
    other.type(METER, "23.2")
    at_work.type(METER, "23.3").tap("record")
    other.tap("record")
    assert "Somebody else has worked on this case meanwhile" in other.text
    assert "23.3" in other.text
    assert next(f for f in other.at.text_input if f.label == METER).value == "23.2"
    assert [r.value for r in at_work.case.readings] == ["trouble", "23.3"]
    other.tap("record")
    assert [r.value for r in at_work.case.readings] == ["trouble", "23.3", "23.2"]


def test_what_nobody_has_changed_is_read_as_it_stands(at_work: Visitor) -> None:
    assert "read it as it stands" in at_work.text
    assert "of waiting" not in at_work.text
    assert not at_work.has("clock ")
    case = at_work.store.append_reading(
        at_work.case_id, Reading("functional_test", "reports_and_clears", at="det1"), at_work.case.revision
    )
    again = Visitor(at_work.store, case.case_id)
    assert "read it as it stands" not in again.text


def test_the_step_after_an_ohms_step_says_that_the_panel_comes_on_again_first(at_work: Visitor) -> None:
    lifted = Reading("ohms", "4.7k", "panel.zone1+", "panel.zone1-", mode="lifted")
    case = at_work.store.append_reading(at_work.case_id, lifted, at_work.case.revision)
    again = Visitor(at_work.store, case.case_id)
    assert "battery of the panel on again, in the order" in again.text
    assert "Put the lifted pair back on its terminals." in again.text


def test_clock_survives_a_reload_and_nothing_yet_is_not_accepted_before_its_end(at_work: Visitor) -> None:
    start_clock(at_work.store, at_work.case, "panel_shows|panel|standby")
    again = Visitor(at_work.store, at_work.case_id)
    assert "Wait 3 min" in again.text
    again.pick(FOUND, "normal")
    assert "says little" in again.text
    again.tap("record")
    assert [r.value for r in again.case.readings] == []
    assert "counts once it is over" in again.text
    again.tap("take_again").pick(FOUND, "trouble").tap("record")  # what has come counts at once
    assert [r.value for r in again.case.readings] == ["trouble"]


def test_somebody_who_waited_before_the_clock_was_started_may_say_so(at_work: Visitor) -> None:
    start_clock(at_work.store, at_work.case, "panel_shows|panel|standby")
    again = Visitor(at_work.store, at_work.case_id).pick(FOUND, "normal").tap("record").tap("doubt_keep")
    assert [r.value for r in again.case.readings] == ["normal"]


def test_what_the_panel_showed_before_is_no_answer_without_a_wait(store: CaseStore) -> None:
    """A head taken off where the zone is in trouble already: *trouble* is what stood there, until the delay is over."""
    visitor = measure(Visitor(store, describe(store).case_id), "det3", "head_off|det3")
    visitor.pick(FOUND, "trouble").tap("record")
    assert "no clock was started" in visitor.text
    assert not visitor.case.readings
    visitor.tap("take_again")
    assert "Wait 3 min" in visitor.text
    visitor.pick(FOUND, "trouble").tap("record")
    assert "counts once it is over" in visitor.text
    visitor.tap("doubt_keep")
    assert [r.value for r in visitor.case.readings] == ["trouble"]


def test_nothing_yet_counts_once_the_clock_is_over(at_work: Visitor) -> None:
    begun = Acknowledgement("clock panel_shows|panel|standby", datetime.now(UTC) - timedelta(seconds=500))
    case = at_work.store.append_acknowledgement(at_work.case_id, begun, at_work.case.revision)
    again = Visitor(at_work.store, case.case_id)
    assert "The time is up" in again.text
    again.pick(FOUND, "normal").tap("record")
    assert [r.value for r in again.case.readings] == ["normal"]


def test_clock_that_has_run_out_advises_against_nothing(at_work: Visitor) -> None:
    case, (m, *_) = at_work.case, list_measurements(assess_case(at_work.case).loop)
    begun = Acknowledgement(f"clock {m.key}", datetime.now(UTC) - timedelta(seconds=500))
    case = at_work.store.append_acknowledgement(case.case_id, begun, case.revision)
    assert find_wait_s(case, m) == 0
    assert not is_too_early(case, m, "normal")
    again = Visitor(at_work.store, case.case_id)
    assert "The time is up" in again.text


def test_readings_that_do_not_fit_name_the_one_to_take_again(at_work: Visitor) -> None:
    at_volts(at_work)
    for value in ("23.2",):
        at_work.type(METER, value).tap("record")
    case = at_work.case
    for at in ("det2.in", "det5.in", "det8.in"):
        odd = Reading("volts", "3.1" if at == "det5.in" else "23.2", f"{at}+", f"{at}-", mode="standby")
        case = at_work.store.append_reading(case.case_id, odd, case.revision)
    found = assess_case(case).diagnosis.contradiction
    again = Visitor(at_work.store, case.case_id)
    assert found is not None
    assert case.readings[found.reading].red == "det5.in+"
    assert "Two readings do not fit together" in again.text
    assert "black on − in of detector 5 (bakehouse): **3.1 V**" in again.text
    assert "+ in of detector 5" in again.text


def test_reading_that_stands_and_fits_nothing_is_no_slip_and_ends_the_search(at_work: Visitor) -> None:
    case = at_work.case
    for at, volts in (("det5", "3.1"), ("det5", "3.1"), ("det2", "23.2"), ("det8", "23.2"), ("det4", "23.2")):
        odd = Reading("volts", volts, f"{at}.in+", f"{at}.in-", mode="standby")
        case = at_work.store.append_reading(case.case_id, odd, case.revision)
    again = Visitor(at_work.store, case.case_id)
    found = assess_case(case).diagnosis
    assert found.next is not None
    assert found.next.measurement is None
    assert "One reading fits nothing" in again.text
    assert "It was taken again and stands" in again.text
    assert "Two readings do not fit together" not in again.text


def test_what_stands_off_is_listed_before_anybody_says_that_it_is_cured(at_work: Visitor) -> None:
    head = Reading("head_off", "trouble", at="det3", mode="head_off:det3", taken_at=datetime.now(UTC))
    at_work.store.append_reading(at_work.case_id, head, at_work.case.revision)
    own = Visitor(at_work.store, at_work.case_id, view="repair").type("What did you put right?", "a new resistor")
    assert "Put back, one by one" not in own.text
    own.tap("work_done")
    assert own.has("cured")
    markdown = [e.value for e in own.at.markdown]
    assert markdown.index("**Put back, one by one**") < min(n for n, text in enumerate(markdown) if "Outputs." in text)
    assert any("Head of detector 3" in box.label for box in own.at.checkbox)


def test_verdict_says_remedy_minutes_parts_and_how_sure(at_work: Visitor) -> None:
    at_verdict(at_work)
    for told in ("Fit the right end resistor", "sure", "about 6 min", "Parts: end resistor", "Found"):
        assert told in at_work.text


def test_repair_that_did_not_cure_is_remembered_and_the_search_goes_on(at_work: Visitor) -> None:
    at_verdict(at_work).tap("work_done").tap("still_faulty")
    (repair,) = at_work.case.repairs
    assert (repair.fault, repair.cured) == ("fit_end_resistor@end", False)
    assert find_stage(at_work.case) == "work"
    assert "over 99 % sure" not in at_work.text


def test_cured_leads_to_the_fixed_tests_and_may_be_denied_there(at_work: Visitor) -> None:
    at_verdict(at_work).tap("work_done").tap("cured")
    assert "One head off shows trouble" in at_work.text
    at_work.tap("proof_not")
    assert [r.cured for r in at_work.case.repairs] == [False]
    assert find_stage(at_work.case) == "work"


@pytest.mark.parametrize("closing", sample(["mended", "no_fault_found", "waiting", "left_impaired", "not_ours"], 3))
def test_case_can_be_left_in_each_of_five_ways(at_work: Visitor, closing: str) -> None:
    at_verdict(at_work).tap("work_done").tap("cured").tap("test_done_0").reread().tap("tests_rest")
    at_work.at.radio(key="closing").set_value(closing)
    write_note(at_work, "a spare resistor, until Friday").close()
    assert at_work.case.closing == closing
    assert "This case is closed" in at_work.text
    at_work.tap("open_again")
    assert at_work.case.closing == ""


def test_nothing_may_stay_lifted_unless_left_impaired(at_work: Visitor) -> None:
    measure(at_work, "panel", "ohms|").type(METER, "OL").tap("record")
    assert "Out of service since" in at_work.text
    at_work.tap("finish")
    at_work.at.radio(key="closing").set_value("waiting")
    at_work.run()
    write_note(at_work, "a spare resistor, until Friday").tap("close_case")
    assert at_work.case.closing == ""
    assert "Not everything has been put back" in at_work.text
    at_work.at.checkbox[0].set_value(True)
    at_work.run()
    assert not at_work.at.checkbox
    at_work.tap("close_case")
    assert "This case is closed" in at_work.text


def test_what_is_lifted_again_must_be_put_back_again(at_work: Visitor) -> None:
    measure(at_work, "panel", "ohms|").type(METER, "OL").tap("record").tap("finish")
    at_work.at.checkbox[0].set_value(True)
    at_work.run()
    assert not at_work.at.checkbox
    at_work.tap("closing_back")
    assert "Out of service since" not in at_work.text
    measure(at_work, "panel", "ohms|").type(METER, "OL").tap("record").tap("finish")
    assert len(at_work.at.checkbox) == 1


def test_put_right_needs_a_repair_and_the_tests_after_it(at_work: Visitor) -> None:
    at_work.tap("finish")
    assert at_work.at.radio(key="closing").value is None
    at_work.tap("close_case")
    assert "Choose an answer first." in at_work.text
    assert "Put right, and tested" not in at_work.at.radio(key="closing").options
    assert "can be chosen once a repair is noted and the tests after it are done" in at_work.text


def test_repair_of_ones_own_is_kept_in_ones_own_words_and_tested_too(at_work: Visitor) -> None:
    at_work.tap("to_repair").tap("work_done")
    assert not at_work.has("cured")
    assert "Say first what you put right" in at_work.text
    at_work.type("What did you put right?", "*wire* at 3 @ the strip").tap("work_done").tap("cured")
    assert [(r.fault, r.cured) for r in at_work.case.repairs] == [("*wire* at 3 @ the strip", True)]
    assert find_stage(at_work.case) == "proof"
    at_work.tap("test_done_0").tap("test_done_1").tap("tests_rest").close()
    assert "*wire* at 3 @ the strip" in at_work.text


def test_repair_of_ones_own_that_did_not_cure_lets_the_search_go_on(at_work: Visitor) -> None:
    at_work.tap("to_repair").type("What did you put right?", "a loose wire").tap("work_done").tap("still_faulty")
    assert find_stage(at_work.case) == "work"
    assert at_work.has("record")


def test_left_impaired_may_be_closed_with_a_wire_lifted_and_says_whom_to_tell(at_work: Visitor) -> None:
    measure(at_work, "panel", "ohms|").type(METER, "OL").tap("record").tap("finish")
    at_work.at.radio(key="closing").set_value("left_impaired")
    at_work.close(told="the owner, in writing")
    assert at_work.case.closing == "left_impaired"
    assert "impairment coordinator" in at_work.text


def test_loop_can_be_described_anew_only_if_the_readings_fit_it(at_work: Visitor) -> None:
    measure(at_work, "det8", "volts|det8.in+").type(METER, "23.1").tap("record").tap("to_describe")
    at_work.type("How many detectors are on it?", "5").tap("describe_use")
    assert "cannot have been taken on this loop" in at_work.text
    assert len(at_work.case.site.loops[0].all_detectors) == 8


def test_test_period_that_is_over_is_told_and_can_be_extended(at_work: Visitor) -> None:
    case = at_work.case
    past = Acknowledgement("on_test_until 2026-01-01T10:00:00+00:00", datetime.now(UTC))
    at_work.store.append_acknowledgement(case.case_id, past, case.revision)
    at_work.run()
    assert "The test period ended" in at_work.text
    at_work.tap("extend")
    assert "The test period ended" not in at_work.text


def test_room_name_cannot_draw_a_picture_from_elsewhere(store: CaseStore) -> None:
    text = (
        "format: ohmward-site/1\nname: '![x](http://example.invalid/a.png)'\nzones: {zone1: {}}\n"
        "loops: [{zone: zone1, style: two_wire_zone, end_resistor: {resistance: 4.7k}, "
        "detectors: [{room: '![x](http://example.invalid/b.png)'}, {room: '<b>c</b>'}]}]\n"
    )
    visitor = Visitor(store)
    visitor.tap("new_case")
    for key in (*SAFETY, "for_us_yes"):
        visitor.tap(key)
    visitor.pick("How do you want to describe it?", "describe_file")
    visitor.at.file_uploader[0].upload("a.yaml", text.encode(), "application/yaml")
    visitor.run()
    visitor.tap("describe_use").complain("constant_trouble").tap("complaint_use")
    written = [str(e.value) for kind in ("markdown", "caption", "info") for e in getattr(visitor.at, kind)]
    labels = [str(o) for g in visitor.at.button_group for o in g.options]
    assert any("example.invalid" in t for t in (*written, *labels))
    assert not [t for t in (*written, *labels) if "![x](" in t or "<b>" in t]


def test_invented_case_offers_readings_that_its_hidden_fault_makes(at_work: Visitor) -> None:
    loop = assess_case(at_work.case).loop
    told = {m.key: simulate_reading(loop, "end_resistor_missing@end", m) for m in list_measurements(loop)}
    assert told["panel_shows|panel|standby"] == "trouble"
    assert told["which_dark|loop|standby"] == "none"
    assert told["look|det8|standby"] == "resistor_missing"
    assert told["volts|panel.zone1+,panel.zone1-|standby"].startswith("23.")
    for _ in range(5):
        at_work.tap("use ").tap("record")
        if at_work.has("list_none"):
            at_work.tap("list_none")
    assert "Fit the right end resistor" in at_work.text


def test_case_of_real_work_offers_no_reading(store: CaseStore) -> None:
    case = start_visit(store)
    assert not Visitor(store, case.case_id).has("use ")


def test_a_list_to_choose_from_shows_a_room_s_name_as_it_is_written(store: CaseStore) -> None:
    """Such lists know no Markdown: a sign that is escaped for it would show its backslash."""
    text = OWN.replace("bakehouse", "'room #2 [north]'")
    assert text != OWN
    visitor = Visitor(store, describe(store, text).case_id).tap("something_else")
    (box,) = [b for b in visitor.at.selectbox if b.label == "Where?"]
    assert any("room #2 [north]" in name for name in box.options)
