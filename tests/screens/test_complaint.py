"""The complaint: nothing is said for the person, one thing is said at a time, and half of it survives a reload."""

import pytest

from diagnostics.cases import CaseStore
from diagnostics.reasoning import SYMPTOMS
from diagnostics.reports import read_words, tell_symptom
from diagnostics.visit import assess_case, find_stage
from tests.screens.conftest import SAFETY, Visitor
from tests.screens.real_work import describe

PAST, AT_HAND = "What do you know of its past?", "What do you have with you?"


@pytest.fixture
def at_complaint(store: CaseStore) -> Visitor:
    """Return somebody who has just described a loop of four detectors."""
    visitor = Visitor(store)
    visitor.tap("new_case")
    for key in (*SAFETY, "for_us_yes"):
        visitor.tap(key)
    return visitor.type("How many detectors are on it?", "4").tap("describe_use")


def find_chosen(visitor: Visitor) -> list[str]:
    """Return the complaints that are chosen on the page, of all groups together."""
    return [str(r.value) for r in visitor.at.radio if r.key and r.key.startswith("symptom") and r.value]


def read_pills(visitor: Visitor, label: str) -> set[str]:
    return set(next(g for g in visitor.at.button_group if g.label == label).value or ())


def test_nothing_is_complained_of_on_a_new_case_until_somebody_says_so(at_complaint: Visitor) -> None:
    assert find_chosen(at_complaint) == []
    assert read_pills(at_complaint, PAST) == set()
    at_complaint.tap("complaint_use")
    assert "Choose first what is wrong" in at_complaint.text
    assert find_stage(at_complaint.case) == "complaint"


def test_every_complaint_is_offered_once_and_something_else_stands_last(at_complaint: Visitor) -> None:
    offered = [o for r in at_complaint.at.radio for o in r.options]
    assert sorted(offered[:-1]) == sorted(tell_symptom(s) for s in SYMPTOMS)
    assert offered[-1] == "None of these, or not known yet"
    assert [r.label for r in at_complaint.at.radio] == [
        "The panel shows it", "A test shows it", "The lamps of the detectors show it", "Something else",
    ]  # fmt: skip
    assert set(read_words().complaints) <= set(SYMPTOMS)


def test_a_complaint_of_another_group_takes_the_place_of_the_first(at_complaint: Visitor) -> None:
    at_complaint.complain("constant_trouble").complain("detectors_dark")
    assert find_chosen(at_complaint) == ["detectors_dark"]
    at_complaint.tap("complaint_use")
    assert at_complaint.case.symptom == "detectors_dark"


def test_half_told_complaint_is_there_after_a_reload_and_leaves_the_address_once_used(at_complaint: Visitor) -> None:
    at_complaint.complain("will_not_reset").choose(PAST, "altered").choose(AT_HAND, "meter", "ladder")
    again = at_complaint.reload()
    assert find_chosen(again) == ["will_not_reset"]
    assert read_pills(again, PAST) == {"altered"}
    again.tap("complaint_use")
    case = again.case
    assert (case.symptom, case.contexts, set(case.can or ())) == ("will_not_reset", ("altered",), {"meter", "ladder"})
    assert not {"symptom", "contexts", "tools"} & set(again.at.query_params)


def test_having_nothing_at_hand_survives_a_reload_too(at_complaint: Visitor) -> None:
    again = at_complaint.complain("none_report").choose(AT_HAND, "nothing_at_hand").reload()
    assert read_pills(again, AT_HAND) == {"nothing_at_hand"}
    again.tap("complaint_use")
    assert again.case.can == ()


def test_no_tool_is_chosen_for_a_person_who_said_nothing_and_none_is_ruled_out(at_complaint: Visitor) -> None:
    assert read_pills(at_complaint, AT_HAND) == set()
    at_complaint.complain("none_report").tap("complaint_use")
    assert at_complaint.case.can is None


def test_strange_words_in_the_address_choose_nothing(at_complaint: Visitor) -> None:
    address = {"symptom": "<b>x</b>", "contexts": "never,aged", "tools": "hammer"}
    again = Visitor(at_complaint.store, at_complaint.case_id, **address)
    assert find_chosen(again) == []
    assert read_pills(again, PAST) == {"aged"}
    assert read_pills(again, AT_HAND) == set()
    again.tap("complaint_use")
    assert find_stage(again.case) == "complaint"


def test_what_was_told_is_filled_in_when_it_is_told_anew(at_complaint: Visitor) -> None:
    at_complaint.complain("other_symptom").choose(PAST, "water").tap("complaint_use").tap("to_complaint")
    assert find_chosen(at_complaint) == ["other_symptom"]
    assert read_pills(at_complaint, PAST) == {"water"}
    at_complaint.complain("none_report").tap("complaint_back").tap("to_complaint")
    assert find_chosen(at_complaint) == ["other_symptom"]


def test_trouble_is_called_a_fault_in_european_words(at_complaint: Visitor) -> None:
    european = Visitor(at_complaint.store, at_complaint.case_id, region="europe")
    offered = [o for r in european.at.radio for o in r.options]
    assert "The panel shows fault on the zone all the time" in offered


def test_what_the_panel_shows_stands_under_the_panel(store: CaseStore) -> None:
    visitor = Visitor(store, describe(store, complaint=False).case_id)
    (panel,) = [r for r in visitor.at.radio if r.label == "The panel shows it"]
    assert "The panel shows ground trouble" in panel.options
    (test,) = [r for r in visitor.at.radio if r.label == "A test shows it"]
    assert not [option for option in test.options if "ground" in option]


def test_whoever_knows_at_which_detector_spares_the_search_for_it(at_complaint: Visitor, store: CaseStore) -> None:
    assert not [s for s in at_complaint.at.selectbox if s.key == "where_met"]
    at_complaint.complain("one_does_not_report")
    where = at_complaint.at.selectbox(key="where_met")
    assert where.options[0] == "Not known"
    where.set_value("det3")
    at_complaint.run()
    again = at_complaint.reload()
    assert again.at.selectbox(key="where_met").value == "det3"
    again.tap("complaint_use")
    (reading,) = again.case.readings
    assert (reading.measurement, reading.at, reading.value) == ("functional_test", "det3", "no_report")
    led = assess_case(again.case).diagnosis.candidates[0]
    assert led.faults[0].place.startswith("det3")
    later = Visitor(store, again.case.case_id, view="complaint").tap("complaint_use")  # told again, it is kept once
    assert len(later.case.readings) == 1
    for chosen, told in (("det2", ["det2"]), ("", [])):  # told otherwise, it takes the place of what was told
        later = Visitor(store, again.case.case_id, view="complaint")
        later.at.selectbox(key="where_met").set_value(chosen)
        later.run()
        later.tap("complaint_use")
        assert [r.at for r in later.case.readings] == told


def test_a_complaint_of_no_detector_asks_for_none_and_not_known_is_no_reading(at_complaint: Visitor) -> None:
    at_complaint.complain("constant_trouble")
    assert not [s for s in at_complaint.at.selectbox if s.key == "where_met"]
    at_complaint.complain("detectors_dark").tap("complaint_use")
    assert at_complaint.case.readings == ()
