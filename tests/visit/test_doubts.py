"""Readings that are asked about before they are kept, and readings while the complaint was not there."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from diagnostics.cases import (
    Acknowledgement,
    Baseline,
    Case,
    CaseStore,
    Closing,
    Condition,
    GuideAnswer,
    Reading,
    Repair,
    read_case,
    write_site,
)
from diagnostics.errors import CaseError
from diagnostics.locate import find_shipped
from diagnostics.readings import list_measurements
from diagnostics.visit import (
    assess_case,
    build_reading,
    close_case,
    find_doubt,
    find_last_absent,
    find_meant,
    find_most_v,
    is_led,
    may_be_absent,
    open_case,
    record_reading,
    simulate_reading,
    tell_meaning,
    understand,
)
from diagnostics.visit.marks import WITH_COMPLAINT
from diagnostics.wiring import PartSpec, read_site

BAKERY = read_site(find_shipped("cases") / "sites" / "bakery.yaml")
CALL = Case(BAKERY, write_site(BAKERY), contexts=("new",), symptom="constant_trouble")
ZONE = ("volts", "panel.zone1+", "panel.zone1-")


def volts(value: str, at: str = "panel.zone1") -> Reading:
    return Reading("volts", value, f"{at}+", f"{at}-", mode="standby", reading_id=f"{at} {value}")


@pytest.mark.parametrize("value", ["240", "-240 V", "230", "48 V"])
def test_more_volts_than_any_source_has_are_impossible(value: str) -> None:
    assert find_doubt(assess_case(CALL), volts(value)) == "impossible"


@pytest.mark.parametrize(
    ("at", "mode", "value", "doubt"),
    [
        ("panel.battery", "standby", "13.6", "other_panel"),
        ("panel.zone1", "pair_lifted:zone1", "12.1", "other_panel"),
        ("panel.zone1", "pair_lifted:zone1", "23.9", ""),
        ("panel.zone1", "standby", "12.1", ""),  # a leak may do that
        ("panel.battery", "on_battery", "12.1", ""),  # and so may one dead battery of two
    ],
)
def test_volts_of_a_panel_of_12_v_are_asked_about_where_nobody_described_the_panel(
    at: str, mode: str, value: str, doubt: str
) -> None:
    reading = replace(volts(value, at), mode=mode)
    assert find_doubt(assess_case(CALL), reading) == doubt
    kept = replace(CALL, readings=(replace(reading, reading_id="before"),))
    assert find_doubt(assess_case(kept), reading) != "other_panel"
    told = BAKERY.model_copy(update={"panel": PartSpec(profile="panel_24v", values={"zone_v": "24 V"})})
    assert find_doubt(assess_case(Case(told, write_site(told), contexts=("new",))), reading) != "other_panel"


def test_right_digits_with_another_unit_or_sign_are_a_slip_and_no_answer() -> None:
    """Eight heads at 0.1 mA: 24 V · 4.7/5.7 less what they draw is some 19 V; with the end open it is some 23 V."""
    assessment = assess_case(replace(CALL, readings=(Reading("panel_shows", "trouble", at="panel"),)))
    m = assessment.diagnosis.next
    assert m is not None
    assert m.measurement is not None
    assert m.measurement.key.startswith("volts|panel.zone1+")
    for text, meant in (("23.1 mV", 23.1), ("-23.1", 23.1), ("23.1 V", None), ("15.2", None)):
        reading = volts(text)
        value = understand(assessment.loop, reading).value
        assert find_meant(assessment, m.measurement, value) == (None if meant is None else pytest.approx(meant))
        assert (find_doubt(assessment, reading) == "slip") is (meant is not None)


def test_another_value_at_the_same_terminals_is_asked_about_unless_that_is_told() -> None:
    case = replace(CALL, readings=(volts("23.1"),))
    assert find_doubt(assess_case(case), volts("19.0")) == "changed"
    assert find_doubt(assess_case(case), volts("22.9")) == ""
    assert find_doubt(assess_case(case), replace(volts("19.0"), condition="absent")) == ""
    told = replace(case, contexts=("new", "comes_and_goes"))
    assert find_doubt(assess_case(told), volts("19.0")) != "changed"
    complained = replace(case, readings=(replace(case.readings[0], by=WITH_COMPLAINT),))
    assert find_doubt(assess_case(complained), volts("19.0")) != "changed", "nobody has read that"
    old = case.readings[0].reading_id
    assert find_doubt(assess_case(case), volts("19.0"), old) == "", "a correction puts it right"
    early, late = datetime(2026, 3, 14, 10, tzinfo=UTC), datetime(2026, 3, 14, 11, tzinfo=UTC)
    mended = replace(
        case,
        readings=(replace(volts("23.1"), taken_at=early),),
        repairs=(Repair("fit_end_resistor@end", late, cured=False),),
    )
    assert find_doubt(assess_case(mended), volts("19.0")) != "changed"


def test_limit_lies_above_every_source_with_its_tolerance_and_below_mains() -> None:
    most_v = find_most_v(assess_case(CALL).loop)
    assert 27.6 < most_v < 60  # a 24 V supply on charge shows up to 27.6 V (common practice, no source)


@pytest.mark.parametrize("hidden", ["conductor_open@det5.in+", "end_resistor_missing@end", "pair_short@det2.in"])
def test_readings_of_a_fault_that_is_there_are_never_doubted(hidden: str) -> None:
    case, asked = CALL, 0
    for n in range(8):
        assessment = assess_case(case)
        action = assessment.diagnosis.next
        if action is None or action.measurement is None:
            break
        text = simulate_reading(assessment.loop, hidden, action.measurement)
        reading = build_reading(action.measurement, text, f"r{n}")
        assert find_doubt(assessment, reading) == ""
        case, asked = replace(case, readings=(*case.readings, reading)), asked + 1
    assert asked >= 2


def test_reading_that_fits_nothing_is_doubted_and_its_correction_is_not() -> None:
    sound = (volts("23.2"), volts("23.2", "det2.in"), volts("23.2", "det8.in"))
    case = replace(CALL, readings=sound)
    odd = volts("3.1", "det5.in")
    assert find_doubt(assess_case(case), odd) == "improbable"
    kept = replace(case, readings=(*sound, odd))
    assert find_doubt(assess_case(kept), volts("23.2", "det5.in"), odd.reading_id) == ""


def test_reading_while_the_complaint_was_absent_is_not_weighed() -> None:
    sound = (volts("23.2"), volts("23.2", "det2.in"), volts("23.2", "det8.in"))
    odd = replace(volts("3.1", "det5.in"), condition="absent")
    assessment = assess_case(replace(CALL, readings=sound))
    assert find_doubt(assessment, odd) == ""
    after = assess_case(replace(CALL, readings=(*sound, odd)))
    assert [c.probability for c in after.diagnosis.candidates] == [
        c.probability for c in assessment.diagnosis.candidates
    ]


def test_absence_is_asked_only_where_nothing_is_disturbed_and_the_complaint_can_go() -> None:
    every = {m.key: m for m in list_measurements(assess_case(CALL).loop)}
    asked = {m.kind for m in every.values() if may_be_absent(CALL, m)}
    assert asked == {"panel_shows", "volts", "lamp", "which_dark", "which_lit"}
    only_in_a_test = replace(CALL, symptom="no_trouble_with_head_off")
    assert not [m for m in every.values() if may_be_absent(only_in_a_test, m)]


def test_last_reading_is_named_when_the_complaint_was_absent() -> None:
    m = next(m for m in list_measurements(assess_case(CALL).loop) if m.key.startswith("volts|panel.zone1+"))
    absent = replace(volts("15.1"), condition="absent")
    assert find_last_absent(replace(CALL, readings=(absent,)), m) == absent
    assert find_last_absent(replace(CALL, readings=(absent, volts("23.2"))), m) is None
    assert find_last_absent(CALL, m) is None


def test_same_meaning_is_told_alike_and_whatever_counts_makes_another() -> None:
    one = replace(CALL, readings=(volts("23.2"),))
    later = replace(one, case_id="x", revision=9, readings=(replace(volts("23.2"), reading_id="other"),))
    assert tell_meaning(one) == tell_meaning(later)
    clock = Acknowledgement("clock volts|panel.zone1+,panel.zone1-|standby", datetime.now(UTC))
    assert tell_meaning(replace(one, acknowledged=(clock,))) == tell_meaning(one)
    others = (
        CALL,
        replace(one, readings=(volts("23.3"),)),
        replace(one, readings=(volts("23.2", "det2.in"),)),
        replace(one, readings=(replace(volts("23.2"), condition="absent"),)),
        replace(one, symptom="detectors_dark"),
        replace(one, contexts=("aged",)),
        replace(one, can=("meter",)),
        replace(one, meter={"volts": "5 % + 2"}),
        replace(one, repairs=(Repair("fit_head@det3", datetime.now(UTC), cured=False),)),
        replace(one, repairs=(Repair("fit_head@det3", datetime.now(UTC), cured=False, saw="right"),)),
        replace(one, acknowledged=(Acknowledgement("skip look|panel|standby", datetime.now(UTC)),)),
        replace(one, acknowledged=(Acknowledgement("led by model", datetime.now(UTC)),)),
        replace(one, guide_answers=(GuideAnswer("constant_trouble", "dark", "no", datetime.now(UTC)),)),
        replace(one, baseline=Baseline((volts("15.0"),), "earlier")),
    )
    told = {tell_meaning(case) for case in (one, *others)}
    assert len(told) == len(others) + 1


def test_a_repair_in_vain_before_a_reading_means_something_else_than_after_it() -> None:
    """What was read before it may be of another fault than what was read since; two cases of one site may differ so."""
    at = datetime(2026, 3, 14, 10, 42, tzinfo=UTC)
    read = replace(CALL, readings=(replace(volts("23.2"), taken_at=at),))
    before, after, later = (
        replace(read, repairs=(Repair("fit_head@det3", at + timedelta(minutes=minutes), cured=False),))
        for minutes in (-5, 5, 9)
    )
    assert tell_meaning(before) != tell_meaning(after)
    assert tell_meaning(later) == tell_meaning(after)


def test_reading_while_the_complaint_was_absent_narrows_what_is_right_here() -> None:
    """Volts that any such zone may have are odd on a zone that had more of them in a good hour."""
    call = replace(CALL, symptom="")
    good, now = replace(volts("19.6"), condition="absent"), volts("18.4")
    healthy = [
        next(c.probability for c in assess_case(replace(call, readings=some)).diagnosis.candidates if not c.faults)
        for some in ((now,), (good, now))
    ]
    assert healthy[1] < 0.7 * healthy[0]


@pytest.mark.parametrize("condition", ["", "present", "absent"])
def test_volts_that_no_loop_has_leave_no_next_step_until_they_are_taken_again(condition: Condition) -> None:
    mains = replace(volts("230"), condition=condition)
    for guided in (False, True):
        stopped = assess_case(replace(CALL, readings=(mains,)), guided=guided)
        assert stopped.unsafe == (mains,)
        assert (stopped.diagnosis.next, stopped.diagnosis.expected, stopped.beside) == (None, (), ())
    safe = assess_case(replace(CALL, readings=(mains, volts("23.2"))))
    assert safe.unsafe == ()
    assert safe.diagnosis.next is not None


@pytest.mark.parametrize("closing", ["mended", "no_fault_found"])
def test_case_is_not_called_right_while_volts_stand_that_no_loop_has(tmp_path: Path, closing: Closing) -> None:
    with CaseStore(f"sqlite:///{tmp_path / 'cases.sqlite3'}") as store:
        case = record_reading(store, open_case(store, CALL), replace(volts("230"), reading_id="a" * 32))
        with pytest.raises(CaseError, match="nothing on this loop can give"):
            close_case(store, case, closing, told="Kim", note="x", by="Ada")
        assert close_case(store, case, "left_impaired", told="Kim", by="Ada").closing == "left_impaired"


def test_leads_are_held_together_first_where_their_own_ohms_count() -> None:
    """Ohms of a short are few, and say how far away it is: common practice, no source."""
    case = read_case(find_shipped("cases") / "packing_shed_squeezed.yaml")
    led = []
    for n in range(len(case.readings)):
        found = assess_case(replace(case, readings=case.readings[:n]))
        asked = found.diagnosis.next
        if asked is not None and asked.measurement is not None and is_led(found, asked.measurement):
            led.append(asked.measurement.kind)
    assert led == ["ohms"]
