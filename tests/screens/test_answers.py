"""Answers as people type them: asked about, taken on one ladder, kept while they are not recorded yet."""

from dataclasses import replace

import pytest

from diagnostics.cases import CaseStore, Reading, build_reading_id, read_case
from diagnostics.locate import find_shipped
from diagnostics.readings import list_measurements
from diagnostics.reports import render_record, tell_cautions
from diagnostics.visit import assess_case, find_hidden, record_reading, start_visit
from tests.screens.conftest import SAFETY, Visitor
from tests.screens.real_work import describe
from tests.screens.test_work import FOUND, METER, at_volts, measure

ABSENT = "The complaint is not there at this moment"


def read_field(visitor: Visitor, label: str = METER) -> str:
    return str(next(f for f in visitor.at.text_input if f.label == label).value)


def tick_absent(visitor: Visitor) -> Visitor:
    next(c for c in visitor.at.checkbox if c.label == ABSENT).set_value(True)
    visitor.run()
    return visitor


@pytest.fixture
def at_ladder(store: CaseStore) -> Visitor:
    """Return somebody at a step at a detector with something else to read there; a wire into detector 5 is open."""
    demo = read_case(find_shipped("cases") / "bakery_call.yaml")
    visitor = Visitor(store, start_visit(store, demo, "conductor_open@det5.in+").case_id)
    for key in SAFETY:
        visitor.tap(key)
    visitor.tap("lead")
    while not assess_case(visitor.case).beside:
        assert len(visitor.case.readings) < 6
        visitor.tap("use ").tap("record")
    return visitor


def at_description(store: CaseStore) -> Visitor:
    """Go through the first questions of a new case, up to the loop."""
    visitor = Visitor(store).tap("new_case")
    for key in (*SAFETY, "for_us_yes"):
        visitor.tap(key)
    return visitor


def test_module_to_try_hides_a_supply_on_the_wrong_contact_and_ends_there(visitor: Visitor) -> None:
    visitor.tap("begin_demo_module")
    for key in SAFETY:
        visitor.tap(key)
    assert find_hidden(visitor.case) == "supply_on_no@reset"
    for _ in range(9):
        if visitor.has("guide_answer"):
            visitor.tap("guide_answer")
        elif visitor.has("use "):
            visitor.tap("use ").tap("record")
    assert "Put the wires on their right terminals, at the reset relay" in visitor.text
    assert 2 <= len(visitor.case.readings) <= 7  # a look at the relay last, before anything is altered


@pytest.mark.parametrize("typed", ["240", "-48 V"])
def test_impossible_volts_are_asked_about_and_not_stored(at_work: Visitor, typed: str) -> None:
    at_volts(at_work).type(METER, typed).tap("record")
    assert "more than anything on this loop can give" in at_work.text
    assert "stop, hands off" in at_work.text
    assert len(at_work.case.readings) == 1
    assert not at_work.has("record")
    at_work.tap("take_again")
    assert len(at_work.case.readings) == 1
    assert at_work.has("record")
    assert read_field(at_work) in {"", "None"}


def test_24_v_on_a_loop_described_with_12_v_lead_to_its_description(store: CaseStore) -> None:
    visitor = at_description(store)
    visitor.type("How many detectors are on it?", "5").pick("What volts does the panel work with?", "q_system_12")
    visitor.tap("describe_use").complain("constant_trouble").tap("complaint_use")
    visitor.type(METER, "19.2 V").tap("record")  # the guide begins with the volts of the zone
    assert "stop, hands off" in visitor.text
    assert "The loop is described with a panel of 12 V" in visitor.text
    visitor.tap("doubt_describe")
    assert visitor.has("describe_use")
    assert visitor.case.readings == ()


def test_a_slip_of_the_unit_is_asked_about_once_and_in_one_box(at_work: Visitor) -> None:
    at_volts(at_work).type(METER, "23.1 mV")
    asked = "Is the unit right, and are the leads the right way round?"
    assert at_work.text.count(asked) == 1
    assert at_work.tap("record").text.count(asked) == 1
    assert len(at_work.case.readings) == 1
    at_work.tap("doubt_keep")
    assert [r.value for r in at_work.case.readings] == ["trouble", "23.1 mV"]


def test_doubtful_reading_is_kept_word_for_word_when_its_taker_is_sure(at_work: Visitor) -> None:
    at_volts(at_work).type(METER, "48,1 V").tap("record").tap("doubt_keep")
    assert [r.value for r in at_work.case.readings] == ["trouble", "48,1 V"]
    assert not at_work.has("doubt_keep")
    assert "Stop, hands off" in at_work.text  # the loop has no such volts: the warning stays while the reading stands
    assert "another circuit touches this one" in at_work.text
    assert "Two readings do not fit together" not in at_work.text
    assert not at_work.has("record")  # nobody is sent to measure there before it is made safe
    at_work.tap("unsafe again ")
    assert at_work.has("record")
    assert "Stop, hands off" in at_work.text
    at_work.type(METER, "23.2").tap("record")
    assert at_work.case.readings[-1].value == "23.2"
    assert "Stop, hands off" not in at_work.text


def test_volts_that_no_loop_has_can_be_corrected_in_the_second_case_that_has_them_too(store: CaseStore) -> None:
    """Found by a test: what means the same is reckoned once, and the way to correct led to the other case's reading."""
    high = Reading("volts", "48.1", "panel.zone1+", "panel.zone1-", mode="standby")
    for value in ("23.2", "23.1"):
        case = record_reading(store, describe(store), replace(high, reading_id=build_reading_id()))
        visitor = Visitor(store, case.case_id).tap("unsafe correct").type(METER, value).tap("record")
        assert [r.value for r in visitor.case.readings] == [value]


def test_a_bare_number_is_told_with_its_unit_where_it_is_doubted_and_corrected(at_work: Visitor) -> None:
    at_volts(at_work).type(METER, "48,1").tap("record").tap("doubt_keep")
    stop = next(str(e.value) for e in at_work.at.error if "Stop, hands off" in str(e.value))
    assert ": 48.1 V. Nothing on this loop can give that" in stop.replace("\u00a0", " ")
    at_work.tap("unsafe correct").type(METER, "23,2").tap("record")
    assert at_work.case.readings[-1].value == "23,2"
    at_work.tap(f"correct {at_work.case.readings[-1].reading_id}")
    assert "It said: 23.2 V" in at_work.text


def test_improbable_reading_is_asked_about_once(at_work: Visitor) -> None:
    at_volts(at_work).type(METER, "23.2").tap("record")
    for at in ("det2", "det8"):
        measure(at_work, at, f"volts|{at}.in+").type(METER, "23.2").tap("record")
    if at_work.has("list_none"):
        at_work.tap("list_none")
    measure(at_work, "det5", "volts|det5.in+").type(METER, "3.1").tap("record")
    assert "the readings no longer fit together" in at_work.text
    assert len(at_work.case.readings) == 4
    at_work.tap("doubt_keep")
    assert [r.value for r in at_work.case.readings][-1] == "3.1"


def test_value_that_is_typed_anew_after_a_doubt_is_judged_anew(at_work: Visitor) -> None:
    at_volts(at_work).type(METER, "240").tap("record").type(METER, "24,0").tap("record")
    assert [r.value for r in at_work.case.readings] == ["trouble", "24,0"]


@pytest.mark.parametrize("typed", ["0L", "O.L", "OL", "open", "o l"])
def test_over_range_is_understood_however_it_is_typed(at_work: Visitor, typed: str) -> None:
    measure(at_work, "panel", "ohms|").type(METER, typed)
    assert "Understood: **OL**" in at_work.text
    assert at_work.case.readings == ()


def test_ohms_below_zero_are_refused_with_what_to_do(at_work: Visitor) -> None:
    measure(at_work, "panel", "ohms|").type(METER, "-12").tap("record")
    assert "there are volts on what was measured" in at_work.text
    assert at_work.case.readings == ()


@pytest.mark.parametrize(
    ("typed", "key", "after", "told"),
    [
        ("4,7", "kΩ ", "4,7 kΩ", "4.700 kΩ"),
        ("4.7 k", "MΩ ", "4.7 MΩ", "4.700 MΩ"),
        ("5k6", "Ω ", "5k6", "5.600 kΩ"),
    ],
)
def test_unit_key_puts_the_unit_behind_the_number(
    at_work: Visitor, typed: str, key: str, after: str, told: str
) -> None:
    measure(at_work, "panel", "ohms|").type(METER, typed).tap(key)
    assert read_field(at_work) == after
    assert told in at_work.text


def test_sign_key_turns_the_reading(at_work: Visitor) -> None:
    at_volts(at_work).type(METER, "23.2").tap("turn ")
    assert "Understood: **−23.2 V**" in at_work.text
    at_work.tap("turn ")
    assert "Understood: **23.2 V**" in at_work.text


def test_reading_while_the_complaint_is_absent_is_kept_marked_and_not_counted(at_work: Visitor) -> None:
    before = assess_case(at_work.case).diagnosis.candidates
    tick_absent(at_work.pick(FOUND, "normal"))
    assert "shows what is right here" in at_work.text
    at_work.tap("record")
    (reading,) = at_work.case.readings
    assert (reading.value, reading.condition) == ("normal", "absent")
    assert assess_case(at_work.case).diagnosis.candidates == before
    assert "complaint absent, shows what is right here" in at_work.text
    assert "Kept: normal, while the complaint was absent" in at_work.text
    assert not next(c for c in at_work.at.checkbox if c.label == ABSENT).value


def test_complaint_counts_as_present_unless_somebody_says_otherwise(at_work: Visitor) -> None:
    at_work.pick(FOUND, "trouble").tap("record")
    assert [r.condition for r in at_work.case.readings] == ["present"]


def test_absence_is_not_asked_of_a_lifted_pair(at_work: Visitor) -> None:
    measure(at_work, "panel", "ohms|")
    assert ABSENT not in [c.label for c in at_work.at.checkbox]
    at_work.type(METER, "OL").tap("record")
    assert [r.condition for r in at_work.case.readings] == [""]


def test_typed_value_is_there_after_a_reload_and_gone_once_recorded(at_work: Visitor) -> None:
    again = at_volts(at_work).type(METER, "23,2 V").reload()
    assert read_field(again) == "23,2 V"
    assert len(again.case.readings) == 1
    again.tap("record")
    assert [r.value for r in again.case.readings] == ["trouble", "23,2 V"]
    assert "draft" not in again.at.query_params
    assert "23,2" not in again.reload().at.query_params.get("draft", "")


def test_absence_and_choices_are_there_after_a_reload(at_work: Visitor) -> None:
    again = tick_absent(at_work.pick(FOUND, "normal")).reload()
    again.tap("record")
    (reading,) = again.case.readings
    assert (reading.value, reading.condition) == ("normal", "absent")


def test_form_of_ones_own_choice_and_correction_are_there_after_a_reload(at_work: Visitor) -> None:
    again = measure(at_work, "det3", "volts|det3.in+").type(METER, "23.1").reload()
    assert read_field(again) == "23.1"
    again.tap("record").tap("correct ")
    again = again.reload()
    assert "Correcting an earlier reading" in again.text
    again.type(METER, "23.3").tap("record")
    assert [r.value for r in again.case.readings] == ["23.3"]
    assert [r.reading.value for r in again.case.retracted] == ["23.1"]


@pytest.mark.parametrize("draft", ["nonsense", "panel_shows|panel|standby~~<b>x</b>", "~~~", "lamp|det99|standby~~lit"])
def test_strange_draft_in_the_address_is_ignored(at_work: Visitor, draft: str) -> None:
    again = Visitor(at_work.store, at_work.case_id, draft=draft, asked="volts|x,y|standby", list=";;a;b", correct="no")
    assert "What does the panel show" in again.text
    again.pick(FOUND, "trouble").tap("record")
    assert [r.value for r in again.case.readings] == ["trouble"]


def test_description_that_is_half_typed_is_there_after_a_reload(store: CaseStore) -> None:
    visitor = at_description(store)
    visitor.pick("How is it wired?", "module_two_wire").type("How many detectors are on it?", "12")
    visitor = visitor.type("End resistor that belongs on it", "3,3k").reload()
    assert read_field(visitor, "How many detectors are on it?") == "12"
    assert "Understood: 3.30 kΩ" in visitor.text
    visitor.tap("describe_use")
    assert not [name for name in visitor.at.query_params if name.startswith("q_")]
    loop = visitor.case.site.loops[0]
    assert (loop.style, len(loop.all_detectors)) == ("module_two_wire", 12)
    assert loop.end_resistor is not None
    assert loop.end_resistor.resistance == 3300


def test_further_readings_are_shown_before_the_climb_and_asked_for_after_it(at_ladder: Visitor) -> None:
    assessment = assess_case(at_ladder.case)
    keys = [m.key for m in assessment.beside]
    before = len(at_ladder.case.readings)
    for told in ("On the same ladder, read these too", "Ladder.", "You are asked for them one by one"):
        assert told in at_ladder.text
    at_ladder.tap("use ").tap("record")
    again = at_ladder.reload()
    for left in range(len(keys), 0, -1):
        assert f"Read at the same place · {left} to type" in again.text
        again.tap("use ").tap("record")
    assert "Read at the same place" not in again.text
    known = {m.key: m for m in list_measurements(assessment.loop)}
    taken = [(r.measurement, r.red or r.at) for r in again.case.readings[before + 1 :]]
    assert taken == [(known[key].kind, known[key].red or known[key].at) for key in keys]


def test_reading_of_the_ladder_was_suggested_and_is_no_something_else(at_ladder: Visitor) -> None:
    beside = [m.key for m in assess_case(at_ladder.case).beside]
    at_ladder.tap("use ").tap("record")
    for _ in beside:
        at_ladder.tap("use ").tap("record")
    told = [(s.what, s.outcome) for s in at_ladder.case.suggestions[-len(beside) :]]
    assert told == [(key, "followed") for key in beside]
    assert "something else was done" not in render_record(at_ladder.case)


def test_list_of_the_ladder_can_be_dropped(at_ladder: Visitor) -> None:
    at_ladder.tap("use ").tap("record")
    count = len(at_ladder.case.readings)
    at_ladder.tap("list_none")
    assert "Read at the same place" not in at_ladder.text
    assert len(at_ladder.case.readings) == count


def test_own_repair_that_is_half_typed_is_there_after_a_reload(at_work: Visitor) -> None:
    again = at_work.tap("to_repair").type("What did you put right?", "wire at 3").reload()
    again.tap("work_done").tap("still_faulty")
    assert [r.fault for r in again.case.repairs] == ["wire at 3"]
    assert "own_repair" not in again.at.query_params


def test_stop_of_the_first_question_is_still_there_after_a_reload(store: CaseStore) -> None:
    visitor = Visitor(store)
    visitor.tap("new_case").tap("real_no")
    again = visitor.reload()
    assert "Everyone out" in again.text
    assert not again.has("real_yes")


def test_look_shows_what_can_be_found_there_first_and_the_rest_on_request(at_work: Visitor) -> None:
    measure(at_work, "det5", "look|det5")
    few = next(g for g in at_work.at.button_group if g.label == FOUND).options
    next(c for c in at_work.at.checkbox if c.label.startswith("I found something else: show all ")).set_value(True)
    at_work.run()
    every = next(g for g in at_work.at.button_group if g.label == FOUND).options
    assert set(few) < set(every)
    assert len(few) < 12
    at_work.pick(FOUND, "burnt").tap("record").tap("doubt_keep")  # no fault of this loop burns anything there
    assert [r.value for r in at_work.case.readings] == ["burnt"]


def test_reading_outside_every_expected_answer_is_remarked_on_before_it_is_saved(at_work: Visitor) -> None:
    at_volts(at_work).type(METER, "23.2")
    assert "None of the expected answers" not in at_work.text
    at_work.type(METER, "3.3")
    assert "None of the expected answers. Check the meter lead and the range" in at_work.text
    assert len(at_work.case.readings) == 1


def test_caution_stands_in_full_until_a_step_with_it_is_recorded_and_then_as_a_line_that_opens(
    store: CaseStore,
) -> None:
    def list_folded(visitor: Visitor) -> str:
        return " ".join(e.label for e in visitor.at.expander if e.label.startswith("⚠"))

    visitor = measure(Visitor(store, describe(store).case_id).tap("lead"), "panel", "volts|panel.zone1+")
    assert "Live cabinet" not in list_folded(visitor)
    assert "⚠ **Live cabinet.** AC power is in this cabinet." in visitor.text
    visitor.type(METER, "23.2").tap("record")
    measure(visitor, "panel", "known_resistor|")
    assert "Live cabinet" in list_folded(visitor)
    assert "⚠ **Live cabinet.** AC power is in this cabinet." in visitor.text  # it opens, it is not dropped
    measure(visitor.tap("back_to_next"), "panel", "ohms|")
    assert "Volts first" not in list_folded(visitor)
    for alarm in ("Outputs", "Tell people first", "Evidence first"):  # in full above every step that can make an alarm
        assert alarm not in list_folded(visitor)
        assert f"⚠ **{alarm}" in visitor.text
    wanted = {c for m in list_measurements(assess_case(visitor.case).loop) if m.kind == "ohms" for c in m.cautions}
    assert {"tell_people", "out_of_service", "before_ohms"} <= wanted
    assert all(f"⚠ **{title}.** {text}" in visitor.text for title, text in tell_cautions(wanted))
