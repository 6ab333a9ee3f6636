"""A program to be killed: writes acts of every kind to a case and prints each one that the store has acknowledged."""

import sys
from collections.abc import Callable
from datetime import timedelta

from diagnostics.cases import (
    Acknowledgement,
    Case,
    CaseStore,
    GuideAnswer,
    ProofResult,
    Repair,
    Suggestion,
    build_reading_id,
)
from diagnostics.errors import CaseChangedError
from tests.cases.invented import SITE_TEXT, START, build_volts

Act = Callable[[CaseStore, Case, int, str], Case]


def run(url: str, case_id: str) -> None:
    """Write until killed; other programs write to the same store, and maybe to the same case."""
    store = CaseStore(url, patience_s=30.0)
    case = store.load_case(case_id)
    number = 0
    while True:
        kind, act = ACTS[number % len(ACTS)]
        mark = build_reading_id()
        try:
            case = act(store, case, number, mark)
        except CaseChangedError:
            case = store.load_case(case_id)
            continue
        sys.stdout.write(f"{kind} {mark}\n")
        sys.stdout.flush()
        number += 1


def _read(store: CaseStore, case: Case, number: int, mark: str) -> Case:
    reading = build_volts(number, by=mark)
    told = Suggestion("measure", mark, START, "followed", reading_id=reading.reading_id)
    return store.append_reading(case.case_id, reading, case.revision, told)


def _correct(store: CaseStore, case: Case, number: int, mark: str) -> Case:
    """Correct a reading that was just given; both are told by this mark."""
    wrong = build_volts(number, by=mark)
    case = store.append_reading(case.case_id, wrong, case.revision)
    return store.append_correction(case.case_id, wrong.reading_id, build_volts(number + 1, by=mark), case.revision)


def _repair(store: CaseStore, case: Case, number: int, mark: str) -> Case:
    repair = Repair(mark, START + timedelta(minutes=number), cured=bool(number % 2))
    return store.append_repair(case.case_id, repair, case.revision)


def _describe(store: CaseStore, case: Case, number: int, mark: str) -> Case:
    text = SITE_TEXT.replace("count: 5", f"count: {5 + number % 7}") + f"# {mark}\n"
    return store.append_site(case.case_id, text, case.revision)


def _answer(store: CaseStore, case: Case, number: int, mark: str) -> Case:
    answer = GuideAnswer("constant_trouble", f"step {number}", mark, START)
    return store.append_answer(case.case_id, answer, case.revision)


def _test(store: CaseStore, case: Case, number: int, mark: str) -> Case:
    result = ProofResult("functional_test", bool(number % 2), START, "det3", mark)
    return store.append_tests(case.case_id, (result,), case.revision, Acknowledgement(f"tested {mark}", START))


ACTS: tuple[tuple[str, Act], ...] = (
    ("reading", _read),
    ("repair", _repair),
    ("site", _describe),
    ("correction", _correct),
    ("answer", _answer),
    ("test", _test),
)


def list_kept(case: Case) -> set[str]:
    """Return ``kind mark`` of every act that a case holds whole; half of an act is not one."""
    descriptions = [site.site_text for site in case.earlier_sites] + [case.site_text]
    told = {s.what for s in case.suggestions}
    replaced = {item.replaced_by for item in case.retracted}
    accepted = {a.caution for a in case.acknowledged}
    return {
        *(f"reading {r.by}" for r in case.readings if r.by in told),
        *(f"correction {r.by}" for r in case.readings if r.reading_id in replaced),
        *(f"repair {r.fault}" for r in case.repairs),
        *(f"site {text.rpartition('# ')[2].strip()}" for text in descriptions if text.count("# ") > 1),
        *(f"answer {a.answer}" for a in case.guide_answers),
        *(f"test {t.why}" for t in case.tests if f"tested {t.why}" in accepted),
    }


if __name__ == "__main__":
    run(sys.argv[1], sys.argv[2])
