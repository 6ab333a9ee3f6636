"""The tests after a repair, noted: one by one, several at once, and that the list is through."""

from dataclasses import replace
from datetime import UTC, datetime

from diagnostics.cases import Acknowledgement, Case, CaseStore, ProofResult
from diagnostics.errors import CaseError
from diagnostics.wiring import build_loop

from .assess import build_reading
from .deeds import record_reading
from .disturbed import find_disturbances
from .marks import TESTED
from .met import list_failed, list_not_failed
from .proof import FUNCTIONAL, HEAD_OFF, RECHECK, ProofItem, list_proof


def record_test(store: CaseStore, case: Case, item: ProofItem, *, done: bool, why: str = "", by: str = "") -> Case:
    """Store that one test of the list is done, or is not, and why not.

    Raises
    ------
    CaseError
        A test is not done and nobody says why.
    """
    result = ProofResult(item.test, done, datetime.now(UTC), item.at, why.strip(), by)
    if not done and not result.why:
        raise CaseError("say why this test is not done", hint="it stands in the record")
    known = item.result
    shown = list_not_failed(case, item.test, known.at) if known is not None and known.failed else ()
    return store.append_act(case.case_id, (*shown, result), case.revision)


def fail_test(store: CaseStore, case: Case, item: ProofItem, *, showed: str = "", why: str = "") -> Case:
    """Store in one act that a test was made and failed, and as a reading what it ``showed``, where that has a word.

    Told as something else than before, that takes the place of what was told; told the same again, nothing changes.
    """
    known, why = item.result, why.strip()
    told = list_failed(case, item.test, item.at, showed) if showed else ()
    result = ProofResult(item.test, done=False, noted_at=datetime.now(UTC), at=item.at, why=why, failed=True)
    same = known is not None and known.failed and (known.why, known.at) == (why, item.at)
    elsewhere = known is not None and known.failed and known.at != item.at
    old = list_not_failed(case, item.test, known.at) if known is not None and elsewhere else ()
    bodies = told if same else (*old, *told, result)
    return store.append_act(case.case_id, bodies, case.revision) if bodies else case


def record_recheck(store: CaseStore, case: Case, item: ProofItem, value: str, reading_id: str, by: str = "") -> Case:
    """Store what was measured again after a repair, as a reading of the loop without the complaint.

    Raises as ``record_reading``, and CaseError for a test that is no measurement.
    """
    if item.recheck is None:
        raise CaseError("this test has no reading", hint="mark it as done, or say why it is not")
    reading = build_reading(item.recheck.measurement, value, reading_id, by)
    return record_reading(store, case, replace(reading, condition="absent"))


def finish_tests(store: CaseStore, case: Case) -> Case:
    """Note that the list of tests is through: each item is done, or is not and the record says why.

    Raises
    ------
    CaseError
        Some items were never noted; names how many. Or something stands lifted, bridged or off still.
    """
    loop = build_loop(case.site)
    if find_disturbances(case, loop):
        raise CaseError("not everything has been put back", hint="put it back, tick it, and test then")
    open_items = [i for i in list_proof(case, loop) if i.result is None]
    if open_items:
        count = len(open_items)
        message = f"{count} test{'s are' if count > 1 else ' is'} neither done nor left out"
        raise CaseError(message, hint="mark each as done, or say why it is not")
    return store.append_acknowledgement(case.case_id, Acknowledgement(TESTED, datetime.now(UTC)), case.revision)


def pass_tests(store: CaseStore, case: Case, head_off_at: str = "") -> Case:
    """Note that what is open at the end of the list is done, each item by itself, in one act; it may end the list.

    What is open is told by the case as it was shown to whoever says so.

    Functional tests of detectors are never noted so: each is told one by one by whoever has seen its zone report. Nor
    are volts to measure again: what was read is typed.
    ``head_off_at`` is the detector whose head was taken off, where that test is still open.
    """
    now = datetime.now(UTC)
    items = [i for i in list_proof(case, build_loop(case.site)) if i.result is None]
    places = {HEAD_OFF: head_off_at}
    results = [
        ProofResult(i.test, done=True, noted_at=now, at=i.at or places.get(i.test, ""))
        for i in items
        if i.test not in {FUNCTIONAL, RECHECK}
    ]
    through = Acknowledgement(TESTED, now) if len(results) == len(items) else None
    return store.append_tests(case.case_id, results, case.revision, through)
