"""Reckoning ahead: it warms the bench, changes nothing, and a loop that cannot be reckoned harms nobody."""

import logging
from collections.abc import Sequence
from dataclasses import replace

import pytest

from diagnostics.cases import Case, write_site
from diagnostics.locate import find_shipped
from diagnostics.readings import Bench, Forecast, Measurement, list_measurements, list_tokens
from diagnostics.visit import (
    Assessment,
    ahead,
    assess_case,
    build_reading,
    list_answered,
    list_likely_answers,
    prepare,
    prepare_answers,
    simulate_reading,
    understand,
)
from diagnostics.visit.ahead import LONGEST
from diagnostics.wiring import QuickDescription, build_quick_site, read_site

BAKERY = read_site(find_shipped("cases") / "sites" / "bakery.yaml")
CALL = Case(BAKERY, write_site(BAKERY), contexts=("new",), symptom="constant_trouble")


def describe(count: str) -> Case:
    site, _ = build_quick_site(QuickDescription(style="two_wire_zone", detectors=count, name=f"loop of {count}"))
    return Case(site, write_site(site), symptom="constant_trouble")


def test_reckoning_ahead_ends_and_gives_what_reckoning_gives() -> None:
    case = describe("3")
    thread = prepare(case)
    assert thread is not None
    thread.join(60)
    assert not thread.is_alive()
    once = assess_case(case).diagnosis
    assert assess_case(replace(case, case_id="x")).diagnosis.next == once.next


def test_long_loop_is_not_reckoned_ahead() -> None:
    assert prepare(describe(str(LONGEST + 1))) is None


def test_case_that_cannot_be_reckoned_is_logged_and_harms_nobody(caplog: pytest.LogCaptureFixture) -> None:
    with caplog.at_level(logging.WARNING, logger="ohmward"):
        thread = prepare(replace(CALL, symptom="no such complaint"))
        assert thread is not None
        thread.join(60)
    assert "could not reckon ahead" in caplog.text


def test_likeliest_answers_are_told_apart_by_the_meter_and_can_be_read() -> None:
    site, _ = build_quick_site(QuickDescription(style="four_wire_zone", detectors="12", end_resistor="4k7"))
    case, seen = Case(site, write_site(site), contexts=("new",), symptom="none_report"), 0
    for _ in range(3):
        assessment = assess_case(case)
        answered = list_answered(assessment)
        assert 1 <= len(answered) <= 4
        for one in answered:
            assert one.readings[:-1] == case.readings
            understand(assessment.loop, one.readings[-1])  # raises where it is no answer
        values = [understand(assessment.loop, one.readings[-1]).value for one in answered]
        assert len(set(values)) == len(values)
        seen, case = seen + len(values), answered[0]
    assert seen > 3


def test_next_step_finds_nearly_all_it_needs_once_its_answers_were_reckoned_ahead(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    made: list[int] = []
    forecast = Bench.forecast_all

    def count(bench: Bench, measurements: Sequence[Measurement]) -> tuple[Forecast, ...]:
        files = bench._core._files  # noqa: SLF001 - which rows were there before is what is promised
        known = sum(int(file.known.sum()) for file in files.values())
        found = forecast(bench, measurements)
        made.append(sum(int(file.known.sum()) for file in files.values()) - known)
        return found

    monkeypatch.setattr(Bench, "forecast_all", count)
    cold, warm = (_count_rows(made, f"{name} loop", first=name == "warm") for name in ("cold", "warm"))
    assert cold > 1000
    assert warm < cold / 4


def _count_rows(made: list[int], name: str, *, first: bool) -> int:
    """Return the rows that the step after an answer makes, ``first`` with the answers reckoned before."""
    answers = QuickDescription("four_wire_zone", "12", "4.7k", "18 AWG", "10 m", name=name, end_relay="yes")
    site, _ = build_quick_site(answers)
    case = Case(site, write_site(site), contexts=("new",), symptom="constant_trouble", case_id=name)
    volts = build_reading(_need_next(assess_case(case, guided=True)), "23.9", "1")
    case = replace(case, readings=(volts,))
    assessment = assess_case(case, guided=True)
    if first:
        thread = prepare_answers(assessment)
        assert thread is not None
        thread.join(60)
    made.clear()
    second = build_reading(_need_next(assessment), "none", "2")
    assess_case(replace(case, readings=(volts, second)), guided=True)
    return sum(made)


def _need_next(assessment: Assessment) -> Measurement:
    action = assessment.diagnosis.next
    assert action is not None
    assert action.measurement is not None
    return action.measurement


def test_short_loop_needs_no_reckoning_ahead_and_the_same_is_begun_once() -> None:
    assert prepare_answers(assess_case(replace(CALL, case_id="short"))) is None
    assessment = assess_case(replace(describe("11"), case_id="twice"))
    thread = prepare_answers(assessment)
    assert thread is not None
    assert prepare_answers(assessment) is None
    thread.join(60)
    assert not thread.is_alive()


def test_what_was_asked_before_for_a_case_is_given_up(monkeypatch: pytest.MonkeyPatch) -> None:
    reckoned: list[str] = []
    monkeypatch.setattr("diagnostics.visit.ahead.assess_case", lambda case, **_: reckoned.append(case.symptom))
    with ahead._turn:  # noqa: SLF001 - somebody else reckons ahead meanwhile
        threads = [prepare(replace(CALL, case_id="given up", symptom=s)) for s in ("none_report", "detectors_dark", "")]
    for thread in threads:
        assert thread is not None
        thread.join(60)
    assert reckoned == [""]


def test_look_offers_what_can_be_found_there_and_no_word_of_another_place() -> None:
    assessment = assess_case(CALL)
    looks = {m.at: m for m in list_measurements(assessment.loop) if m.kind == "look"}
    at_five, at_end = (set(list_likely_answers(assessment, looks[at])) for at in ("det5", "det8"))
    assert {"as_it_should_be", "wire_off", "in_out_swapped"} <= at_five
    assert at_five.isdisjoint({"supply_on_no", "com_not_fed", "resistor_missing"})
    assert "resistor_missing" in at_end
    assert len(at_five) < len(list_tokens(looks["det5"], assessment.loop)) / 2


def test_look_offers_fewer_words_the_surer_the_suspects_and_never_only_one_or_two() -> None:
    case, counts = CALL, list[int]()
    for number in range(3):
        assessment = assess_case(case)
        look = next(m for m in list_measurements(assessment.loop) if (m.kind, m.at) == ("look", "det8"))
        counts.append(len(list_likely_answers(assessment, look)))
        asked = assessment.diagnosis.next.measurement if assessment.diagnosis.next else None
        assert asked is not None
        text = simulate_reading(assessment.loop, "end_resistor_missing@end", asked)
        case = replace(case, readings=(*case.readings, build_reading(asked, text, str(number))))
    assert counts[0] > counts[-1] == 6


@pytest.mark.parametrize("hidden", ["end_resistor_missing@end", "in_out_swapped@det3", "conductor_open@det5.in+"])
def test_what_a_hidden_fault_shows_is_among_the_likely_answers(hidden: str) -> None:
    assessment = assess_case(CALL)
    for m in list_measurements(assessment.loop):
        if m.kind == "look":
            assert simulate_reading(assessment.loop, hidden, m) in list_likely_answers(assessment, m)
