"""A site with several loops, and a loop whose order nobody knows, on the screens."""

from dataclasses import replace
from datetime import UTC, datetime

from diagnostics.cases import Acknowledgement, Case, write_site
from diagnostics.locate import find_shipped
from diagnostics.visit import SAFETY as STEPS
from diagnostics.visit import find_about, find_stage, open_case
from diagnostics.wiring import read_site
from tests.screens.conftest import SAFETY, Visitor
from tests.screens.test_begin import DETECTORS, begin

SITES = find_shipped("cases") / "sites"


def describe(visitor: Visitor, site: str) -> Visitor:
    """Bring a case as far as its complaint, at a shipped site."""
    visitor.tap("new_case")
    for key in SAFETY:
        visitor.tap(key)
    visitor.tap("for_us_yes").pick("How do you want to describe it?", "describe_shipped")
    visitor.at.selectbox(key="example").set_value(site)
    return visitor.tap("describe_use")


def test_complaint_is_about_one_loop_of_several_and_its_guide_leads(visitor: Visitor) -> None:
    describe(visitor, "hostel")
    visitor.complain("constant_trouble")
    labels = next(r for r in visitor.at.radio if r.label == "Which loop is it about?").options
    assert labels[1].startswith("zone\u00a02: detector 5 (landing)")
    visitor.pick("Which loop is it about?", "zone2").tap("complaint_use")
    assert find_about(visitor.case) == "zone2"
    assert "Finding guide" in visitor.text  # it knows which loop it is about
    assert "red on zone 2 +" in visitor.text


def test_nobody_need_know_which_loop_it_is(visitor: Visitor) -> None:
    describe(visitor, "hostel").complain("constant_trouble").tap("complaint_use")
    assert find_stage(visitor.case) == "work"
    assert find_about(visitor.case) == ""


def test_loop_with_one_zone_is_not_asked_about(visitor: Visitor) -> None:
    describe(visitor, "bakery").complain("constant_trouble")
    assert not [r for r in visitor.at.radio if r.label == "Which loop is it about?"]


def test_order_that_nobody_knows_is_described_and_counted(visitor: Visitor) -> None:
    begin(visitor).type(DETECTORS, "5").pick("Do you know the order of the wiring, room by room?", "order_unknown")
    visitor.tap("describe_use")
    loop = visitor.case.site.loops[0]
    assert (loop.order, len(loop.all_detectors)) == ("unknown", 5)
    visitor.complain("detectors_dark").tap("complaint_use")
    assert visitor.case.site.note.count("counted from the panel") == 1


def test_room_that_was_found_is_noted_where_the_detector_is_met(visitor: Visitor) -> None:
    site = read_site(SITES / "chapel_school.yaml")
    case = Case(site, write_site(site), contexts=("aged",), symptom="detectors_dark")
    visitor = Visitor(visitor.store, open_visit(visitor, case))
    visitor.tap("something_else")
    where = visitor.at.selectbox(key="other_where")
    where.set_value(next(o for o in where.options if "detector 3" in o))
    visitor.run()
    visitor.tap("other_show")
    assert "follow the cable" in visitor.text
    visitor.pick("Which room is this detector in?", "gym").tap("room_note")
    assert visitor.case.site.loops[0].places == {3: "gym"}
    assert "detector 3 from the panel (gym)" in visitor.text


def open_visit(visitor: Visitor, case: Case) -> str:
    names = (*STEPS, "for_us", "described", "complaint_told")
    given = tuple(Acknowledgement(str(name), datetime.now(UTC)) for name in names)
    return open_case(visitor.store, replace(case, acknowledged=given)).case_id


def test_hostel_can_be_tried_and_its_hidden_fault_is_found_on_its_own_loop(visitor: Visitor) -> None:
    visitor.tap("begin_demo_loops")
    for key in SAFETY:
        visitor.tap(key)
    assert find_about(visitor.case) == "zone2"
    for _ in range(12):
        if visitor.has("work_done"):
            break
        if visitor.has("guide_answer"):
            visitor.tap("guide_answer")
            continue
        visitor.tap("use answer").tap("record")
    assert "on the run into detector 6 (east dormitory)" in visitor.text
