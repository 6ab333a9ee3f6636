"""The finding guide on the screen: it leads, the model walks beside it, and the person may follow either."""

from dataclasses import replace
from datetime import UTC, datetime

import pytest

from diagnostics.cases import Acknowledgement, Case, CaseStore, GuideAnswer, Reading, parse_site_text
from diagnostics.locate import find_shipped
from diagnostics.visit import answer_guide, assess_case, choose_lead, find_case_guide, open_case
from tests.screens.conftest import Visitor

SMOKE = "smoke or CO, or somebody unwell"
METER = "What does the meter show?"
SITES = find_shipped("cases") / "sites"
DONE = ("is_it_real", "outputs", "tell_people", "evidence_first", "for_us", "described", "complaint_told")


def open_visit(store: CaseStore, site: str, symptom: str, *, readings: tuple[Reading, ...] = ()) -> Case:
    text = (SITES / f"{site}.yaml").read_text("utf-8")
    told = tuple(Acknowledgement(name, datetime.now(UTC)) for name in DONE)
    case = open_case(store, Case(parse_site_text(text, site), text, symptom=symptom, acknowledged=told))
    for reading in readings:
        case = store.append_reading(case.case_id, reading, case.revision)
    return case


def test_guide_leads_in_its_own_words_and_skips_what_the_complaint_says(at_guide: Visitor) -> None:
    assert "Finding guide: The panel shows trouble all the time" in at_guide.text
    assert "Measure DC volts" in at_guide.text
    assert "The panel judges by these volts alone" in at_guide.text
    assert "What does the panel show" not in at_guide.text


def test_note_for_the_past_of_this_loop_is_shown(at_guide: Visitor) -> None:
    assert "In your case: On new work think first of the end" in at_guide.text


def test_reading_leads_on_along_the_guide(at_guide: Visitor) -> None:
    at_guide.type(METER, "23.2").tap("record")
    guidance = assess_case(at_guide.case, guided=True).guidance
    assert guidance is not None
    assert guidance.walk.at == "dark"
    assert "Walk the loop" in at_guide.text


def test_model_can_lead_instead_and_the_choice_survives_a_reload(at_guide: Visitor, store: CaseStore) -> None:
    at_guide.tap("lead")
    again = Visitor(store, at_guide.case_id)
    assert "Finding guide" not in again.text
    again.tap("lead")
    assert "Finding guide" in again.text


def test_question_of_the_guide_comes_before_its_first_reading(store: CaseStore) -> None:
    case = open_visit(store, "boathouse", "only_first_report")
    visitor = Visitor(store, case.case_id)
    assert "Write down which detectors were tested" in visitor.text
    assert not visitor.has("record")
    visitor.tap("guide_answer")
    assert visitor.has("record")
    assert "Write down which" not in Visitor(store, case.case_id).text


def test_real_smoke_stops_the_guide() -> None:
    told = tuple(Acknowledgement(name, datetime.now(UTC)) for name in DONE if name != "is_it_real")
    text = (SITES / "boathouse.yaml").read_text("utf-8")
    case = Case(parse_site_text(text, "boathouse"), text, symptom="will_not_reset", acknowledged=told)
    assessment = assess_case(replace(case, case_id="x"), guided=True)
    assert assessment.guidance is not None
    assert assessment.guidance.walk.at == "real"
    smoke = GuideAnswer("will_not_reset", "real", SMOKE, datetime.now(UTC))
    for guided in (True, False):
        stopped = assess_case(replace(case, guide_answers=(smoke,)), guided=guided)
        assert stopped.guidance is not None
        assert stopped.guidance.stops
        assert stopped.diagnosis.next is None


def test_stop_is_shown_with_no_reading_to_take_and_a_way_back(store: CaseStore) -> None:
    case = open_visit(store, "boathouse", "will_not_reset")
    case = choose_lead(store, answer_guide(store, case, "real", SMOKE), guide=False)
    visitor = Visitor(store, case.case_id)
    assert "Everybody out into fresh air" in visitor.text
    assert "Suspects" not in visitor.text
    assert not any(visitor.has(key) for key in ("record", "lead", "to_repair", "something_else"))
    visitor.tap("guide_again")
    assert "Everybody out" not in visitor.text
    assert visitor.has("record")


def test_shorter_step_is_proposed_and_can_be_taken(store: CaseStore) -> None:
    visitor = Visitor(store, open_visit(store, "bakery", "none_report").case_id)
    visitor.tap("guide_answer")
    action = assess_case(visitor.case, guided=True).diagnosis.next
    assert action is not None
    assert action.instead is not None
    assert "A step that tells more." in visitor.text
    visitor.tap("guide_shorter")
    assert "I measured something else" in visitor.text


def test_guide_that_disagrees_with_the_readings_says_so(store: CaseStore) -> None:
    readings = (
        Reading("look", "resistor_missing", at="det8"),
        Reading("volts", "23.2", red="panel.zone1+", black="panel.zone1-"),
    )
    case = open_visit(store, "bakery", "constant_trouble", readings=readings)
    walked = assess_case(case, guided=True).guidance
    assert walked is not None
    assert walked.doubt is None
    dark = Reading("which_dark", "det2,det3,det4,det5,det6,det7,det8", at="loop")
    case = store.append_reading(case.case_id, dark, case.revision)
    found = assess_case(case, guided=True)
    assert found.guidance is not None
    assert found.guidance.doubt is not None or found.diagnosis.contradiction is not None


def test_every_answer_is_stored_and_a_wrong_one_refused(store: CaseStore) -> None:
    from diagnostics.errors import CaseError

    case = open_visit(store, "boathouse", "only_first_report")
    assert find_case_guide(case) is not None
    with pytest.raises(CaseError, match="no answer to step"):
        answer_guide(store, case, "note", "maybe")
    with pytest.raises(CaseError, match="no answer to step"):
        answer_guide(store, case, "nowhere", "done")
    assert store.load_case(case.case_id).revision == case.revision
