"""How a case is left: who was told, the note, by whom; what stands disturbed; left impaired stays on top."""

from datetime import UTC, datetime, timedelta

import pytest

from diagnostics.cases import CLOSINGS, Case, CaseStore, Leaving, Reading, parse_site_text
from diagnostics.locate import find_shipped
from diagnostics.reports import Words, render_record
from diagnostics.visit import close_case
from diagnostics.wiring import build_loop
from tests.screens import real_work
from tests.screens.conftest import SAFETY, Visitor
from tests.screens.real_work import build_restored, describe, write_note
from tests.screens.test_guide import open_visit
from tests.screens.test_work import FOUND, at_verdict

TOLD, BY = "Who has been told?", "Your name"
LONG = "ä&<script>1</script> 漢字 🔥\n" * 80  # 2000 signs and more, not a few of them of four bytes


def disturb(store: CaseStore, *readings: Reading) -> Case:
    case = describe(store)
    for reading in readings:
        case = store.append_reading(case.case_id, reading, case.revision)
    return case


def choose(visitor: Visitor, closing: str) -> Visitor:
    visitor.at.radio(key="closing").set_value(closing)
    visitor.run()
    return visitor


@pytest.mark.parametrize("closing", [c for c in CLOSINGS if c])
def test_each_closing_keeps_who_was_told_the_note_and_by_whom(store: CaseStore, closing: str) -> None:
    visitor = Visitor(store, build_restored(store).case_id)
    choose(visitor, closing).type(TOLD, "owner <b>Kim</b>, by phone").type(BY, "Ada *L*")
    write_note(visitor, "# one\ntwo").tap("close_case")
    left = visitor.case.leaving
    assert left is not None
    assert (visitor.case.closing, left.told, left.note, left.by) == (
        closing, "owner <b>Kim</b>, by phone", "# one\ntwo", "Ada *L*"
    )  # fmt: skip
    for told in ("Told:** owner <b>Kim</b>, by phone", "Note:** # one  \ntwo", "By:** Ada *L*"):
        assert told in visitor.text
    assert not {"told", "note", "closed_by", "closing"} & set(visitor.at.query_params)


def test_what_is_not_supervised_is_told_before_the_case_is_closed(store: CaseStore) -> None:
    text = (find_shipped("cases") / "sites" / "bench_four_wire_bare.yaml").read_text("utf-8")
    told = Words(build_loop(parse_site_text(text, "site"))).defects()
    visitor = Visitor(store, describe(store, text).case_id, view="closing")
    assert told
    assert "Report this too" in visitor.text
    assert all(defect in visitor.text for defect in told)


def test_what_was_typed_and_chosen_survives_a_reload(store: CaseStore) -> None:
    visitor = Visitor(store, build_restored(store).case_id)
    write_note(choose(visitor, "waiting").type(TOLD, "the own").type(BY, "Ada"), LONG[:2000])
    again = visitor.reload()
    assert again.at.radio(key="closing").value == "waiting"
    assert again.at.text_area(key="note").value == LONG[:2000]
    assert [next(f for f in again.at.text_input if f.label == label).value for label in (TOLD, BY)] == [
        "the own",
        "Ada",
    ]
    again.tap("close_case")
    assert again.case.leaving is not None
    assert again.case.leaving.note == LONG[:2000].strip()


def find_leaving(visitor: Visitor) -> tuple[object, ...]:
    """Return what stands on the screen of how a case is left."""
    typed = [next(f for f in visitor.at.text_input if f.label == label).value for label in (TOLD, BY)]
    return (*typed, visitor.at.text_area(key="note").value, visitor.at.radio(key="closing").value)


def test_what_was_typed_of_the_closing_is_there_again_after_a_step_back(at_work: Visitor) -> None:
    """Found by trying: *Back*, one more reading, and who was told and the name had to be typed anew."""
    typed = ("the owner, by phone", "Ada", "a spare part, until Friday", "waiting")
    choose(at_work.tap("finish"), "waiting").type(TOLD, typed[0]).type(BY, typed[1])
    write_note(at_work, typed[2]).tap("closing_back")
    assert "Typed, and not stored" not in at_work.text, "it waits for its screen"
    at_work.pick(FOUND, "trouble").tap("record").tap("to_repair")
    assert "Typed, and not stored" not in at_work.reload().text
    assert find_leaving(at_work.tap("own_repair_back").tap("finish")) == typed
    assert find_leaving(at_work.reload()) == typed
    left = at_work.tap("close_case").case.leaving
    assert left is not None
    assert (left.told, left.by, left.note) == typed[:3]
    for again in (at_work, at_work.reload()):
        assert not {"told", "note", "closed_by", "closing"} & set(again.at.query_params)
        assert "Typed, and not stored" not in again.text


def test_what_was_typed_at_a_stop_is_there_again_and_gone_once_the_case_is_closed(visitor: Visitor) -> None:
    visitor.tap("new_case").tap("real_yes").tap("outputs_release").type(TOLD, "the owner").type(BY, "Ada")
    visitor.tap("release_back").tap("outputs_release").tap("release_close")
    assert visitor.case.leaving is not None
    assert (visitor.case.leaving.told, visitor.case.leaving.by) == ("the owner", "Ada")
    assert not {"told", "closed_by"} & set(visitor.at.query_params)
    begun = visitor.tap("to_start").tap("new_case").tap("real_yes").tap("outputs_release")
    assert [f.value for f in begun.at.text_input if f.label in (TOLD, BY)] == ["", ""], "another case is told anew"


def test_address_stays_short_enough_for_any_server_with_the_longest_note(store: CaseStore) -> None:
    visitor = write_note(Visitor(store, build_restored(store).case_id), LONG[:2000])
    assert len("&".join(f"{k}={v}" for k, v in dict(visitor.at.query_params).items())) < 4000


def test_note_that_somebody_else_put_into_the_address_does_no_harm(store: CaseStore) -> None:
    for note in ("%%%", "eJwDAAAAAAE", "QUFB", "é"):
        again = Visitor(store, build_restored(store).case_id, note=note)
        assert again.at.text_area(key="note").value == ""


@pytest.mark.parametrize(
    ("closing", "told"),
    [
        ("left_impaired", "If nobody could be reached, write that."),
        ("not_ours", "Say who has been told"),
        ("waiting", "Say what is missing, and until when."),
    ],
)
def test_refusal_says_what_to_do(store: CaseStore, closing: str, told: str) -> None:
    visitor = Visitor(store, describe(store).case_id, view="closing")
    choose(visitor, closing).tap("close_case")
    assert told in visitor.text
    assert visitor.case.closing == ""


def test_everything_that_stands_disturbed_is_named_and_put_back_by_itself(store: CaseStore) -> None:
    now = datetime.now(UTC) - timedelta(minutes=5)
    case = disturb(
        store,
        Reading("ohms", "OL", "panel.zone1+", "panel.zone1-", mode="lifted", taken_at=now),
        Reading("head_off", "trouble", at="det3", mode="head_off:det3", taken_at=now),
        Reading("volts", "12.4", "panel.battery+", "panel.battery-", mode="on_battery", taken_at=now),
    )
    visitor = Visitor(store, case.case_id, view="closing")
    names = [
        "Zone pair landed on its terminals again, battery and AC power on again",
        "Head of detector 3 (corridor) on again",
        "AC power on again, battery as it was",
    ]
    assert [c.label.partition("**")[2].partition("**")[0].replace("\\", "") for c in visitor.at.checkbox[:3]] == names
    choose(visitor, "no_fault_found").tap("close_case")
    assert f"Not everything has been put back: {'; '.join(names)}." in visitor.text
    for left in (2, 1, 0):
        visitor.at.checkbox[0].set_value(True)
        visitor.run()
        assert len([c for c in visitor.at.checkbox if str(c.key).startswith("back_")]) == left
    visitor.tap("close_case")
    assert "What was read is not what a sound loop gives." in visitor.text
    write_note(visitor, "a wire was loose in the base, and is tight now").tap("close_case")
    assert visitor.case.closing == "no_fault_found"


def test_left_impaired_may_be_closed_with_all_of_it_standing(store: CaseStore) -> None:
    case = disturb(store, Reading("head_off", "trouble", at="det3", mode="head_off:det3"))
    visitor = choose(Visitor(store, case.case_id, view="closing"), "left_impaired")
    visitor.close(told="the owner, in writing")
    assert visitor.case.closing == "left_impaired"


def test_left_impaired_stays_on_top_of_the_start_with_its_sign(store: CaseStore) -> None:
    impaired = describe(store)
    close_case(store, impaired, "left_impaired", told="the owner")
    closed = describe(store)
    close_case(store, closed, "no_fault_found")
    newest = describe(store)
    labels = [b.label.replace("\\", "") for b in Visitor(store).at.button if str(b.key).startswith("open ")]
    assert [label[-14:] for label in labels] == [impaired.case_id, newest.case_id, closed.case_id]
    assert labels[0].startswith("⚠ **Left impaired**")
    assert labels[1].startswith("▶")
    assert labels[2].startswith("✓")


def test_second_person_who_closes_meanwhile_is_told_and_loses_nothing(store: CaseStore) -> None:
    visitor = Visitor(store, build_restored(store).case_id)
    other = write_note(choose(Visitor(store, visitor.case_id), "waiting"), "a spare part").type(TOLD, "the owner")
    store.append_acknowledgement(visitor.case_id, visitor.case.acknowledged[0], visitor.case.revision)
    visitor.tap("proof_not")
    other.tap("close_case")
    assert "Somebody else has worked on this case meanwhile" in other.text
    assert other.case.closing == ""


def test_case_closed_by_an_earlier_program_is_shown_without_who_was_told(store: CaseStore) -> None:
    case = build_restored(store)
    store.append_closing(case.case_id, "mended", case.revision, Leaving(datetime(2026, 3, 14, tzinfo=UTC)))
    visitor = Visitor(store, case.case_id)
    assert "Left as: Put right, and tested" in visitor.text
    assert "Told:" not in visitor.text


def test_no_fault_found_over_a_settled_fault_asks_for_a_reason_which_stays(at_work: Visitor) -> None:
    at_verdict(at_work).tap("finish")
    choose(at_work, "no_fault_found").tap("close_case")
    assert not at_work.case.closing
    assert "The readings settle a fault: End resistor missing" in at_work.text
    left = write_note(at_work, "the loop was being rewired while we read it").tap("close_case").case
    assert left.closing == "no_fault_found"
    assert left.leaving is not None
    assert left.leaving.note == "the loop was being rewired while we read it"


@pytest.mark.parametrize("closing", ["mended", "left_impaired", "not_ours"])
def test_who_was_told_and_by_whom_is_asked(store: CaseStore, closing: str) -> None:
    visitor = choose(Visitor(store, build_restored(store).case_id), closing).tap("close_case")
    assert "whom you told" in visitor.text or "Say who has been told" in visitor.text
    visitor.type(TOLD, "the owner").tap("close_case")
    assert "Write your name" in visitor.text
    assert visitor.case.closing == ""
    visitor.type(BY, "Ada").tap("close_case")
    assert visitor.case.leaving is not None
    assert (visitor.case.closing, visitor.case.leaving.told, visitor.case.leaving.by) == (closing, "the owner", "Ada")


def test_closing_that_was_taken_back_stays_in_the_record(store: CaseStore) -> None:
    visitor = choose(Visitor(store, build_restored(store).case_id), "waiting")
    write_note(visitor, "a spare part, until Friday").close(told="Kim, by phone", by="Ada")
    assert "Until it is put right, this part may not report when it must" in visitor.text
    visitor.tap("open_again")
    for key in SAFETY:
        visitor.tap(key)
    choose(visitor, "mended").close(told="the owner", by="Lee")
    (earlier,) = visitor.case.earlier_closings
    assert earlier.leaving is not None
    assert (earlier.closing, earlier.leaving.told, earlier.leaving.by) == ("waiting", "Kim, by phone", "Ada")
    record = render_record(visitor.case)
    assert "Closed before, and opened again" in record
    for told in ("Waiting for parts, access or tests", "Kim, by phone", "a spare part, until Friday", "the owner"):
        assert told in record


def test_case_opened_again_is_a_new_visit(at_work: Visitor) -> None:
    at_work.pick(FOUND, "trouble").tap("record").tap("take_back ")
    assert "Taken back: Panel display" in at_work.text
    write_note(choose(at_work.tap("finish"), "waiting"), "a spare part").close().tap("open_again")
    assert "Is it real?" in at_work.text
    assert "This is a new visit" in at_work.text
    assert "test to" not in at_work.text
    at_work.tap("real_yes").tap("outputs_none")
    at_work.pick("Told. On test for", 8).tap("tell_people").tap("evidence_yes")
    assert "What does the panel show" in at_work.text
    assert not [s.value for s in at_work.at.success if "Taken back" in s.value]
    assert [r.reading.value for r in at_work.case.retracted] == ["trouble"]


def test_open_case_left_lying_is_another_visit_and_what_is_off_still_is_said(
    store: CaseStore, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(real_work, "START", datetime.now(UTC) - timedelta(days=3))
    lifted = Reading(
        "ohms", "4.7k", "panel.zone1+", "panel.zone1-", mode="lifted", reading_id="c" * 32, taken_at=real_work.START
    )
    visitor = Visitor(store, disturb(store, lifted).case_id)
    assert [t.value for t in visitor.at.title] == ["Back at this case"]
    assert "Not put back yet" in visitor.text
    assert not visitor.has("guide_answer")
    visitor.tap("come_back")
    assert "Is it real?" in visitor.text
    assert "This is a new visit" in visitor.text
    assert [r.value for r in visitor.case.readings] == ["4.7k"]


def test_detectors_that_are_dark_are_named_until_they_are_not_and_no_fault_is_no_word_for_it(store: CaseStore) -> None:
    case = disturb(store, Reading("which_dark", "det4,det5,det6", at="loop", taken_at=datetime.now(UTC)))
    visitor = Visitor(store, case.case_id)
    told = "Not protected now:** detectors 4 to 6, dark or silent when last looked at."
    assert told in visitor.text
    visitor.tap("finish")
    assert told in visitor.text
    choose(visitor, "no_fault_found").tap("close_case")
    assert "What was read is not what a sound loop gives." in visitor.text
    assert visitor.case.closing == ""
    lit = Reading("which_dark", "none", at="loop", taken_at=datetime.now(UTC), reading_id="d" * 32)
    case = store.append_reading(case.case_id, lit, visitor.case.revision)
    assert "Not protected now" not in Visitor(store, case.case_id).text


def test_silent_detectors_of_a_complaint_are_not_protected_and_no_fault_found_wants_a_reason(store: CaseStore) -> None:
    """Found by trying: by phone nothing named them as out, and the case could be closed as *No fault found*."""
    case = open_visit(store, "pottery", "some_do_not_report")
    visitor = Visitor(store, case.case_id)
    told = "Not protected now:** where detectors do not report or are dark; which they are is not known yet."
    assert told in visitor.text
    closing = Visitor(store, case.case_id, view="closing")
    assert told in closing.text
    choose(closing, "no_fault_found").tap("close_case")
    assert "which were tested, and reported" in closing.text
    assert closing.case.closing == ""
