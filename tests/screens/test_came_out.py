"""What came out at a repair and what a meter shows of it: asked once, never forced, plain where it does not fit."""

import re
from dataclasses import replace

import pytest

from diagnostics.cases import CaseStore, Measured, Understood, parse_site_text
from diagnostics.errors import NotFoundError, QuantityError
from diagnostics.reports import Words, list_causes_unknown, render_record, tell_cause
from diagnostics.visit import (
    assess_case,
    find_stage,
    list_to_measure,
    note_out,
    note_seen,
    rate_repair,
    record_repair,
    tell_listener,
    tell_meaning,
)
from diagnostics.wiring import build_loop
from tests.screens.conftest import Visitor
from tests.screens.real_work import describe, describe_call, mend_joint
from tests.screens.test_seen import ASKED, MINUS, PLUS, own_repair, print_record, reread
from tests.screens.test_work import at_verdict

ONE, TURNED = "What it reads", "With the leads turned, if you like"
DIODE = "If it reads OL: on the diode range, both ways, the lower"
UNKNOWN = "It does not fit: the cause is not known."
KEEP = "Keep the part, and look at this place first if it comes back."


@pytest.fixture
def joint(store: CaseStore) -> Visitor:
    """Return somebody whose repair cured: a bad joint of 312 Ω, by what was read."""
    return Visitor(store, mend_joint(store).case_id)


def list_labels(visitor: Visitor) -> list[str]:
    return [box.label.replace("\\", "").replace("\u00a0", " ") for box in visitor.at.expander]


def is_asked(visitor: Visitor) -> bool:
    return ONE in [field.label for field in visitor.at.text_input]


def note(visitor: Visitor, one: str, turned: str = "") -> Visitor:
    return visitor.type(ONE, one).type(TURNED, turned).tap("out_keep")


def test_what_it_should_read_is_said_before_anybody_opens_it_and_with_its_caution(joint: Visitor) -> None:
    assert "Measured what came out? It should read about 312 Ω (248 Ω to 412 Ω)" in list_labels(joint)
    assert "⚠ **Free, and 0 V, before ohms.**" in joint.text
    assert "From end to end of the conductor" in joint.text
    assert joint.case.repairs[0].out == ()
    assert find_stage(joint.case) == "proof"


def test_a_reading_that_fits_is_kept_as_typed_and_as_understood(joint: Visitor) -> None:
    before = tell_meaning(joint.case)
    note(joint, "0,32k", "322")
    assert joint.case.repairs[0].out == (
        Measured("0,32k", Understood(320.0, "ohm")), Measured("322", Understood(322.0, "ohm"))
    )  # fmt: skip
    assert "What came out reads 320 Ω, 322 Ω with the leads turned: that fits what was suspected." in joint.text
    assert "320 Ω, 322 Ω with the leads turned: fits what was suspected" in print_record(joint.case)
    assert reread(joint.case) == joint.case
    assert tell_meaning(joint.case) == before  # it moves no belief
    again = joint.reload()
    assert next(f for f in again.at.text_input if f.label == ONE).value == "0,32k"


def test_a_reading_that_does_not_fit_is_told_plainly_at_every_place(joint: Visitor) -> None:
    note(joint, "4k7")
    told = (
        "The complaint is gone, but what came out reads 4.70 kΩ, where about 312 Ω (248 Ω to 412 Ω) was to be expected."
    )
    assert f"{told} {UNKNOWN} Suspected: Bad joint of about 310 Ω" in joint.text
    assert KEEP in joint.text
    joint.tap("tests_end")
    assert UNKNOWN in joint.text
    joint.pick("How do you leave it?", "waiting")
    joint.at.text_area(key="note").set_value("the tests, tomorrow")
    joint.run()
    joint.close()
    assert UNKNOWN in joint.text
    printed = print_record(joint.case)
    assert "4.70 kΩ: DOES NOT FIT what was suspected" in printed
    assert UNKNOWN in printed
    assert KEEP in printed
    assert reread(joint.case) == joint.case
    assert joint.case.repairs[0].cured


def test_a_reading_that_depends_on_the_leads_is_no_plain_joint(joint: Visitor) -> None:
    note(joint, "300", "OL")
    assert "reads 300 Ω, OL with the leads turned. It does not fit, nothing that was suspected depends" in joint.text


def test_volts_of_its_own_are_kept_and_stop_the_ohms(joint: Visitor) -> None:
    note(joint, "2,3 V")
    assert joint.case.repairs[0].out == (Measured("2,3 V", Understood(2.3, "V")),)
    assert "shows 2.3 V by itself" in joint.text
    assert "Take no ohms on it" in joint.text
    assert "⚠ **Foreign volts.**" in joint.text
    assert reread(joint.case) == joint.case


def test_moment_of_a_repair_stands_apart_from_the_words_that_were_typed(store: CaseStore) -> None:
    case = record_repair(store, describe(store), "wire at detector 3", cured=True)
    assert re.search(r"✓ Cured\*\* · [\d:]+ · wire at detector 3(?! \d)", Visitor(store, case.case_id).text)


def test_alternating_volts_of_its_own_stop_the_ohms_too(joint: Visitor) -> None:
    note(joint, "24 VAC")
    assert joint.case.repairs[0].out == (Measured("24 VAC", Understood(24.0, "V")),)
    assert "shows 24 V AC by itself" in joint.text
    assert "⚠ **Foreign volts.**" in joint.text
    assert "24 V AC: DOES NOT FIT" in print_record(joint.case)


def test_volts_of_its_own_stay_a_danger_whatever_was_seen_there(joint: Visitor) -> None:
    note(joint, "12 V").pick(ASKED, "other")
    tell_listener(joint.store, joint.case, "caller")
    for seen in (joint, joint.reload()):
        assert "⚠ **Foreign volts.**" in seen.text
        assert "shows 12 V by itself" in seen.text
    assert "12 V: DOES NOT FIT" in print_record(joint.case)


def test_nought_volts_are_refused_kindly_and_what_was_typed_stays(joint: Visitor) -> None:
    note(joint, "0 V")
    assert joint.case.repairs[0].out == ()
    assert "It shows no volts by itself" in joint.text
    assert "now the ohms" in joint.text
    assert next(f for f in joint.at.text_input if f.label == ONE).value == "0 V"


def test_what_is_no_value_is_refused_and_two_empty_fields_take_it_back(joint: Visitor) -> None:
    note(joint, "green")
    assert joint.case.repairs[0].out == ()
    note(joint, "320")
    assert len(joint.case.repairs[0].out) == 1
    revision = joint.case.revision
    note(joint, "320")
    assert joint.case.revision == revision  # said twice it is stored once
    note(joint, "")
    assert joint.case.repairs[0].out == ()


def test_a_missing_end_resistor_leaves_nothing_to_measure(at_work: Visitor) -> None:
    at_verdict(at_work).tap("work_done").tap("cured")
    assert at_work.case.repairs[0].foreseen == ("end_resistor_missing@end: nothing",)
    assert ASKED in [g.label for g in at_work.at.button_group]
    assert not is_asked(at_work)


def test_a_verdict_keeps_what_its_suspects_foretell_before_anybody_measures(store: CaseStore) -> None:
    visitor = Visitor(store, describe_call(store).case_id).tap("work_done").tap("cured")
    lines = {text.partition(":")[0]: text for text in visitor.case.repairs[0].foreseen}
    assert lines[PLUS] == f"{PLUS}: along, OL, 1M to OL ohm"
    assert {PLUS, MINUS} <= set(lines)
    assert is_asked(visitor)
    note(visitor, "OL")
    assert "What came out reads OL: that fits what was suspected." in visitor.text
    assert reread(visitor.case) == visitor.case


def test_what_is_open_for_ohms_is_asked_about_on_the_diode_range_and_told_where_it_passes(store: CaseStore) -> None:
    visitor = Visitor(store, describe_call(store).case_id).tap("work_done").tap("cured")
    note(visitor.type(DIODE, "620"), "OL", "OL")
    assert "write 620 mV" in visitor.text
    assert visitor.case.repairs[0].out == ()
    note(visitor.type(DIODE, "620 mV"), "OL", "OL")
    assert visitor.case.repairs[0].diode == Measured("620 mV", Understood(0.62, "V"))
    read = "reads OL, OL with the leads turned; 0.62 V on the diode range"
    assert f"what came out {read}: open for ohms, and more volts pass through it." in visitor.text
    assert UNKNOWN in visitor.text
    assert f"{read.removeprefix('reads ')}: DOES NOT FIT what was suspected" in print_record(visitor.case)
    assert reread(visitor.case) == visitor.case
    again = visitor.reload()
    assert next(f for f in again.at.text_input if f.label == DIODE).value == "620 mV"
    note(again.type(DIODE, "OL"), "OL", "OL")
    assert "OL with the leads turned; OL on the diode range: that fits what was suspected." in again.text
    note(again.type(DIODE, "0.6"), "", "")
    assert "ohms are wanted first" in again.text
    assert again.case.repairs[0].out


def test_of_a_joint_with_ohms_of_its_own_no_diode_range_is_asked_for(joint: Visitor) -> None:
    assert is_asked(joint)
    assert DIODE not in [field.label for field in joint.at.text_input]


def test_a_repair_of_ones_own_foretells_its_suspect_alone(store: CaseStore) -> None:
    visitor = own_repair(Visitor(store, describe_call(store).case_id), MINUS).tap("cured")
    assert visitor.case.repairs[0].foreseen == (f"{MINUS}: along, OL, 1M to OL ohm",)


def test_nothing_is_asked_after_a_repair_in_vain_or_of_what_was_something_else(joint: Visitor) -> None:
    note(joint, "4k7").pick(ASKED, "other")
    assert not is_asked(joint)
    assert UNKNOWN not in joint.text  # that it was something else is told in its own words
    assert "4.70 kΩ" in print_record(joint.case)
    joint.pick(ASKED, None)
    assert is_asked(joint)
    case = joint.case
    assert rate_repair(case, replace(case.repairs[0], cured=False)) is None
    assert list_to_measure(case, replace(case.repairs[0], cured=None)) == ()


def test_an_earlier_record_without_what_was_foreseen_goes_by_what_was_suspected(joint: Visitor) -> None:
    earlier = replace(joint.case.repairs[0], foreseen=())
    (found,) = list_to_measure(joint.case, earlier)
    assert (found.way, found.fault) == ("along", "joint_resistive@det3.in+")
    assert found.low_ohm < 312 < found.high_ohm
    assert list_to_measure(joint.case, replace(earlier, suspected=("a loose wire", "no_such@det1"))) == ()


def test_of_no_such_repair_or_value_nothing_is_stored(joint: Visitor) -> None:
    with pytest.raises(NotFoundError):
        note_out(joint.store, joint.case, 7, "312")
    with pytest.raises(QuantityError):
        note_out(joint.store, joint.case, 0, "312 m")


def test_both_dialects_tell_it_in_their_own_words(store: CaseStore) -> None:
    case = mend_joint(store)
    earth = replace(
        case.repairs[0], suspected=("earth_fault=10k@det3.in+",),
        foreseen=("earth_fault@det3.in+: to_earth, 10k, 1k to 100k ohm",),
        out=(Measured("OL", Understood("OL", "ohm")),),
    )  # fmt: skip
    told = replace(case, repairs=(earth,))
    loop = build_loop(parse_site_text(case.site_text, "site"))
    here, there = (list_causes_unknown(told, Words(loop, region=r)) for r in ("north_america", "europe"))
    assert "ground" in here[0]
    assert "earth" not in here[0]
    assert "earth" in there[0]
    assert "ground" not in there[0]
    for region in ("north_america", "europe"):
        text = re.sub("<[^>]+>", " ", render_record(told, region=region))
        assert "the cause is not known" in " ".join(text.split())


def test_a_reading_that_another_way_would_have_to_tell_is_left_open(store: CaseStore) -> None:
    case = mend_joint(store)
    both = (*case.repairs[0].foreseen, "leak@det3.in: between, 1.8k, 1k to 3k ohm")
    repair = replace(case.repairs[0], foreseen=both, out=(Measured("0.3", Understood(0.3, "ohm")),))
    words = Words(assess_case(case).loop)
    told = tell_cause(case, repair, words)
    assert told is not None
    assert told[0] == "cannot tell"
    assert told[1].endswith("whether the cause is known cannot be told.")
    assert "whether it fits cannot be told" in print_record(replace(case, repairs=(repair,)))


def test_a_reload_keeps_what_is_typed_and_not_noted(joint: Visitor) -> None:
    joint.type(ONE, "4k7")
    again = joint.reload()
    assert next(f for f in again.at.text_input if f.label == ONE).value == "4k7"
    assert again.case.repairs[0].out == ()


def test_a_reload_shows_what_the_case_holds_of_it_not_what_was_noted_before(joint: Visitor) -> None:
    note(joint, "1.05k", "1.06k").tap("out_keep")
    assert not [name for name in joint.at.query_params if name.startswith("out_")]
    note_out(joint.store, joint.case, 0, "312")  # by another hand, or by one whose page had no time to be drawn anew
    again = joint.reload()
    assert [f.value for f in again.at.text_input if f.label in {ONE, TURNED}] == ["312", ""]


def test_a_caller_is_not_asked_to_measure(joint: Visitor) -> None:
    tell_listener(joint.store, joint.case, "caller")
    assert not is_asked(joint.reload())


def test_seen_and_measured_stand_beside_each_other(joint: Visitor) -> None:
    note(joint, "320")
    case = note_seen(joint.store, joint.case, 0, "as_suspected")
    assert (case.repairs[0].saw, len(case.repairs[0].out)) == ("as_suspected", 1)
