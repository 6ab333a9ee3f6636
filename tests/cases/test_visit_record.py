"""What a visit leaves in the record: suggestions, what was understood, tests one by one, who was told, the baseline."""

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime

import pytest

from diagnostics.cases import (
    Baseline,
    Case,
    CaseStore,
    GuideAnswer,
    Leaving,
    ProofResult,
    Reading,
    Repair,
    Suggestion,
    Understood,
    build_understood,
    list_case_warnings,
    list_misreadings,
    parse_case,
    write_case,
)
from diagnostics.cli.main import run
from diagnostics.errors import CaseChangedError, CaseError, NotFoundError, QuantityError, SourceError
from diagnostics.source import read_document
from diagnostics.units import OVER
from diagnostics.visit import (
    FUNCTIONAL,
    answer_guide,
    assess_case,
    build_suggestion,
    close_case,
    correct_reading,
    find_disturbances,
    finish_tests,
    list_disturbed,
    list_proof,
    list_untested,
    open_case,
    pass_tests,
    put_back,
    record_reading,
    record_repair,
    record_test,
    skip_measurement,
)
from diagnostics.wiring import build_loop
from tests.cases.invented import SITE_TEXT, START, build_invented_case
from tests.cases.mended import VOLTS, build_mended, prove

LIFTED = Reading("ohms", "OL", "panel.zone1+", "panel.zone1-", mode="lifted")
InsertRow = Callable[[str, int, str, str], None]


def test_reading_is_kept_with_what_was_understood(store: CaseStore, opened: Case) -> None:
    case = record_reading(store, opened, VOLTS)
    case = record_reading(store, case, LIFTED)
    case = record_reading(store, case, Reading("lamp", "off", at="det4"))
    assert [r.understood for r in case.readings] == [Understood(23.9, "V"), Understood("OL", "ohm"), Understood("dark")]
    assert [r.value for r in case.readings] == ["23,9", "OL", "off"]
    assert all(r.taken_at for r in case.readings)
    assert [t.value for t in assess_case(store.load_case(case.case_id)).taken] == [23.9, OVER, "dark"]


def test_case_that_is_imported_keeps_what_is_understood_now(store: CaseStore) -> None:
    case = open_case(store, replace(build_invented_case(), readings=(VOLTS,)))
    assert case.readings[0].understood == Understood(23.9, "V")


def test_stored_value_counts_and_a_later_reading_of_the_text_is_told(store: CaseStore, opened: Case) -> None:
    # As if the program of that day had taken a comma for a thousand's mark, and words that are gone.
    odd = replace(VOLTS, value="2,39", understood=Understood(23.9, "V"))
    gone = Reading("lamp", "flickers oddly", at="det4", understood=Understood("dark"))
    case = store.append_reading(opened.case_id, odd, opened.revision)
    case = store.append_reading(case.case_id, gone, case.revision)
    assessment = assess_case(case)
    assert [t.value for t in assessment.taken] == [23.9, "dark"]
    told = [(m.reading.value, m.stored, m.now) for m in assessment.misread]
    assert told == [
        ("2,39", Understood(23.9, "V"), Understood(2.39, "V")),
        ("flickers oddly", Understood("dark"), None),
    ]


@pytest.mark.parametrize(
    "stored", [Understood(23.9, "ohm"), Understood("purple"), Understood("OL", "V"), Understood(23.9)]
)
def test_stored_value_that_is_no_answer_at_all_gives_way_to_the_text(opened: Case, stored: Understood) -> None:
    case = replace(opened, readings=(replace(VOLTS, understood=stored),))
    assert [t.value for t in assess_case(case).taken] == [23.9]
    assert [m.stored for m in list_misreadings(case, build_loop(case.site))] == [stored]
    wrong = replace(VOLTS, value="purple", understood=stored)
    with pytest.raises(QuantityError):
        assess_case(replace(opened, readings=(wrong,)))


def test_check_warns_at_the_line_and_diagnose_tells_it(
    opened: Case, tmp_path: pytest.TempPathFactory, capsys: pytest.CaptureFixture[str]
) -> None:
    odd = replace(VOLTS, value="2,39", understood=Understood(23.9, "V"))
    text = write_case(replace(opened, readings=(odd,)))
    document = read_document(text, "case.yaml")
    (warning,) = list_case_warnings(document, parse_case(document, None, text=text))
    line = next(n for n, row in enumerate(text.splitlines(), 1) if "2,39" in row)
    assert (warning.line, warning.code, warning.severity) == (line, "C008", "warning")
    assert "'2,39' was stored as 23.9 V; read anew, it is 2.39 V; what was stored counts" in str(warning)
    file = f"{tmp_path}/case.yaml"
    with open(file, "w", encoding="utf-8") as out:  # noqa: PTH123 - a plain file
        out.write(text)
    assert run(["check", file]) == 1
    assert "warning C008" in capsys.readouterr().err
    assert run(["diagnose", file]) == 0
    assert "would read the text as 2.39 V" in capsys.readouterr().out
    assert run(["diagnose", file, "--json"]) == 0
    assert '"typed": "2,39"' in capsys.readouterr().out


def test_correction_is_one_act_and_links_both_readings(store: CaseStore, opened: Case) -> None:
    case = record_reading(store, opened, VOLTS)
    right = replace(VOLTS, value="19.1 V", reading_id="a" * 32)
    corrected = correct_reading(store, case, VOLTS.reading_id, right)
    assert corrected.revision == case.revision + 1
    assert [r.value for r in corrected.readings] == ["19.1 V"]
    assert [(i.reading.value, i.replaced_by) for i in corrected.retracted] == [("23,9", "a" * 32)]
    assert correct_reading(store, case, VOLTS.reading_id, right) == corrected  # tapped twice
    with pytest.raises(NotFoundError):
        correct_reading(store, corrected, VOLTS.reading_id, replace(VOLTS, reading_id="b" * 32))
    with pytest.raises(QuantityError):
        correct_reading(store, corrected, "a" * 32, replace(VOLTS, value="purple", reading_id="c" * 32))
    assert store.load_case(case.case_id) == corrected


def test_corrections_reach_whoever_looks_in_words(store: CaseStore, opened: Case) -> None:
    case = record_reading(store, opened, VOLTS)
    correct_reading(store, case, VOLTS.reading_id, replace(VOLTS, value="19.1 V", reading_id="a" * 32))
    with pytest.raises(CaseChangedError, match=r"a reading corrected: reading volts .* '19.1 V'"):
        record_reading(store, case, replace(VOLTS, reading_id="b" * 32))


def test_every_new_act_is_told_in_words(store: CaseStore, opened: Case) -> None:
    case_id = opened.case_id
    acts: list[tuple[Callable[[int], Case], str]] = [
        (lambda n: store.append_answer(case_id, GuideAnswer("g", "smoke", "no", START), n), "step 'smoke' .* 'no'"),
        (lambda n: store.append_tests(case_id, [ProofResult("reset", True, START)], n), "test 'reset' done"),  # noqa: FBT003
        (lambda n: store.append_baseline(case_id, Baseline((VOLTS,), "x"), n), "the baseline of the site"),
    ]
    for act, words in acts:
        before = store.load_case(case_id)
        act(before.revision)
        with pytest.raises(CaseChangedError, match=words):
            store.append_repair(case_id, Repair("x", START), before.revision)


def test_suggested_step_is_kept_with_what_became_of_it(store: CaseStore, opened: Case) -> None:
    first = build_suggestion(assess_case(opened), START)
    assert first is not None
    assert (first.by, first.suggested_at) == ("model", START)
    revision = opened.revision
    case = record_reading(store, opened, Reading("panel_shows", "trouble", at="panel"), first)
    assert case.revision == revision + 2  # both in one transaction
    case = record_reading(store, case, VOLTS, build_suggestion(assess_case(case)))
    key = case.suggestions[-1].what
    case = skip_measurement(store, case, "look|det2|standby", suggestion=replace(first, what="look|det2|standby"))
    case = record_repair(store, case, "own words", cured=False, suggestion=build_suggestion(assess_case(case)))
    by_id = {r.reading_id: r for r in case.readings}
    answered = [s for s in case.suggestions if s.reading_id]
    assert len(answered) == 2
    for s in answered:
        same = by_id[s.reading_id].measurement == s.what.partition("|")[0]
        assert (s.outcome == "followed") <= same
    assert [s.outcome for s in case.suggestions[2:]] == ["skipped", "other"]
    assert key
    assert store.load_case(case.case_id) == case


def test_redraws_leave_nothing_in_the_record(store: CaseStore, opened: Case) -> None:
    for _ in range(3):
        build_suggestion(assess_case(opened, guided=True))
    assert store.load_case(opened.case_id) == opened


def test_guide_is_named_with_its_step_and_its_answers_are_acts_of_their_own(store: CaseStore, opened: Case) -> None:
    case = answer_guide(store, opened, "note", "done")
    assert [(a.guide, a.step, a.answer) for a in case.guide_answers] == [("constant_trouble", "note", "done")]
    assert case.acknowledged == ()
    suggestion = build_suggestion(assess_case(case, guided=True))
    assert suggestion is not None
    assert (suggestion.by, suggestion.guide, suggestion.step) == ("guide", "constant_trouble", "zone_volts")
    kept = record_reading(store, case, VOLTS, suggestion)
    assert (kept.suggestions[-1].outcome, kept.suggestions[-1].reading_id) == ("followed", VOLTS.reading_id)


def test_readings_know_the_description_they_were_taken_under(store: CaseStore, opened: Case) -> None:
    case = record_reading(store, opened, VOLTS)
    longer = SITE_TEXT.replace("count: 5", "count: 6")
    case = store.append_site(case.case_id, longer, case.revision)
    case = record_reading(store, case, Reading("lamp", "dark", at="det6"))
    assert [r.site_revision for r in case.readings] == [1, 2]
    assert [s.site_text for s in case.earlier_sites] == [SITE_TEXT]
    assert case.described_at is not None
    text = write_case(case)
    assert parse_case(read_document(text, "again"), None, text=text) == case


@pytest.mark.parametrize(
    ("change", "code"),
    [
        (("site_revision: '2'", "site_revision: '3'"), "C009"),
        (("count: 5", "count: many"), "C010"),
        (("{value: '23.9', unit: V}", "{value: lots, unit: V}"), "S007"),
        (("{value: '23.9', unit: V}", "{value: nan, unit: V}"), "S007"),
        (("{value: '23.9', unit: V}", "{value: '23.9', unit: W}"), "S005"),
    ],
)
def test_what_cannot_be_in_a_file_is_told(store: CaseStore, opened: Case, change: tuple[str, str], code: str) -> None:
    case = record_reading(store, opened, VOLTS)
    case = store.append_site(case.case_id, SITE_TEXT.replace("count: 5", "count: 6"), case.revision)
    case = record_reading(store, case, Reading("lamp", "dark", at="det6"))
    text = write_case(case)
    assert change[0] in text
    with pytest.raises(SourceError) as raised:
        parse_case(read_document(text.replace(*change), "again"), None)
    assert {f.code for f in raised.value.findings} == {code}


def test_list_of_tests_names_detectors_touched_the_farthest_and_one_of_each_kind(
    store: CaseStore, opened: Case
) -> None:
    case = record_reading(store, opened, Reading("head_off", "trouble", at="det3", mode="head_off:det3"))
    case = build_mended(store, case)
    items = list_proof(case, build_loop(case.site))
    assert [(i.test, i.at, i.reasons) for i in items] == [
        ("functional_test", "det1", ("touched",)),  # the other end of the run
        ("functional_test", "det2", ("touched",)),
        ("functional_test", "det3", ("touched",)),
        ("functional_test", "det5", ("farthest", "kind")),
        ("reset", "", ()),
        ("head_off_test", "", ()),
        ("at_rest", "panel", ()),
        ("station", "", ()),
        ("recheck", "volts|panel.zone1+,panel.zone1-|standby", ()),  # read before, and no sound loop's
    ]


def test_each_kind_of_detector_is_on_the_list() -> None:
    text = SITE_TEXT.replace("    count: 5\n", "    detectors: [{profile: co_two_wire}, {}, {}, {}]\n")
    site = parse_case(read_document(f"format: ohmward-case/1\nsite:\n{_indent(text)}", "c"), None).site
    case = replace(build_invented_case(), site=site)
    functional = [(i.at, i.reasons) for i in list_proof(case, build_loop(site)) if i.test == "functional_test"]
    assert functional == [("det1", ("kind",)), ("det4", ("farthest", "kind"))]


def _indent(text: str) -> str:
    return "".join(f"  {line}\n" for line in text.splitlines() if not line.startswith("#"))


def test_test_that_is_not_done_needs_a_reason_and_stays_in_the_record(store: CaseStore, opened: Case) -> None:
    case = build_mended(store, opened)
    loop = build_loop(case.site)
    items = list_proof(case, loop)
    (station,) = (item for item in items if item.test == "station")
    with pytest.raises(CaseError, match="say why"):
        record_test(store, case, station, done=False, why=" ")
    with pytest.raises(CaseError, match="8 tests are neither done nor left out"):
        finish_tests(store, case)
    for item in items:
        case = case if item is station else record_test(store, case, item, done=True)
    with pytest.raises(CaseError, match="1 test is neither"):
        finish_tests(store, case)
    case = record_test(store, case, station, done=False, why="the line is down", by="Kim")
    case = finish_tests(store, case)
    ((untested),) = list_untested(case, loop)
    assert untested.result is not None
    assert (untested.test, untested.result.why, untested.result.by) == ("station", "the line is down", "Kim")
    text = write_case(case)
    assert parse_case(read_document(text, "again"), None, text=text) == case


def test_one_button_for_the_end_of_the_list_leaves_the_detectors_to_be_told_one_by_one(
    store: CaseStore, opened: Case
) -> None:
    case = pass_tests(store, build_mended(store, opened))
    assert [i.test for i in list_untested(case, build_loop(case.site))] == [FUNCTIONAL] * 3 + ["recheck"]
    with pytest.raises(CaseError, match="repaired and tested"):
        close_case(store, case, "mended")
    case = prove(store, case)
    assert list_untested(case, build_loop(case.site)) == ()
    assert close_case(store, case, "mended").closing == "mended"


def test_case_with_a_test_noted_as_not_done_is_not_called_mended(store: CaseStore, opened: Case) -> None:
    case = prove(store, build_mended(store, opened))
    reset = next(i for i in list_proof(case, build_loop(case.site)) if i.test == "reset")
    case = record_test(store, case, reset, done=False, why="latched again")
    with pytest.raises(CaseError, match="1 of the tests"):
        close_case(store, case, "mended")
    assert close_case(store, case, "waiting", note="a new relay").closing == "waiting"


def test_another_repair_begins_the_list_anew(store: CaseStore, opened: Case) -> None:
    case = prove(store, build_mended(store, opened))
    case = record_repair(store, case, "join_conductor@run det4", cured=True)
    loop = build_loop(case.site)
    assert list_untested(case, loop) == list_proof(case, loop)


def test_case_is_not_called_mended_untested_nor_closed_while_something_is_lifted(
    store: CaseStore, opened: Case
) -> None:
    case = build_mended(store, opened)
    with pytest.raises(CaseError, match="repaired and tested"):
        close_case(store, case, "mended")
    case = record_reading(store, case, LIFTED)
    case = prove(store, case)
    with pytest.raises(CaseError, match="not everything has been put back"):
        close_case(store, case, "mended")
    left = close_case(store, case, "left_impaired", told="the owner", note="parts ordered", by="Kim")
    assert left.leaving is not None
    assert (left.leaving.told, left.leaving.note, left.leaving.by) == ("the owner", "parts ordered", "Kim")
    again = store.append_closing(left.case_id, "", left.revision)
    assert again.leaving is None
    (measurement,) = list_disturbed(assess_case(again))
    assert close_case(store, put_back(store, again, measurement), "mended").closing == "mended"


def test_wire_lifted_while_the_complaint_was_away_is_still_lifted(store: CaseStore, opened: Case) -> None:
    case = record_reading(store, opened, replace(LIFTED, condition="absent"))
    assert [d.measurement.kind for d in find_disturbances(case, build_loop(case.site))] == ["ohms"]


def test_closing_without_words_still_says_when(store: CaseStore, opened: Case) -> None:
    before = datetime.now(UTC)
    case = store.append_closing(opened.case_id, "waiting", opened.revision)
    assert case.leaving is not None
    assert before <= case.leaving.at <= datetime.now(UTC)
    told = Leaving(START, "Kim", "nobody")
    case = store.append_closing(case.case_id, "not_ours", case.revision, told)
    assert case.leaving == told


def test_somebody_told_later_is_kept_and_the_same_closing_twice_is_one(store: CaseStore, opened: Case) -> None:
    first = close_case(store, opened, "left_impaired", told="the owner")
    assert close_case(store, opened, "left_impaired", told="the owner") == first  # tapped twice
    later = close_case(store, first, "left_impaired", told="the owner, the supervising station")
    assert later.revision == first.revision + 1
    assert later.leaving is not None
    assert later.leaving.told == "the owner, the supervising station"


def test_over_range_is_kept_as_a_word() -> None:
    assert build_understood(OVER, "ohm") == Understood("OL", "ohm")
    assert Understood("OL", "ohm").number == OVER
    assert Understood("dark").number == "dark"
    suggestion = Suggestion("measure", "x", START, "other")
    assert suggestion.by == "model"
