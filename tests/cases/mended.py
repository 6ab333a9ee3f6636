"""An invented case with a repair that cured."""

from diagnostics.cases import Case, CaseStore, Reading, build_reading_id
from diagnostics.visit import (
    FUNCTIONAL,
    ProofItem,
    list_proof,
    pass_tests,
    record_reading,
    record_recheck,
    record_repair,
    record_test,
)
from diagnostics.wiring import build_loop

VOLTS = Reading("volts", "23,9", "panel.zone1+", "panel.zone1-")


def build_mended(store: CaseStore, case: Case, repair: str = "join_conductor@run det2") -> Case:
    """Return a case with a repair that cured."""
    return record_repair(store, record_reading(store, case, VOLTS), repair, cured=True)


def prove(store: CaseStore, case: Case, head_off_at: str = "") -> Case:
    """Return the case with every test of its list done, the detectors' one by one, volts as on a sound loop."""
    for item in list_proof(case, build_loop(case.site)):
        if item.test == FUNCTIONAL:
            case = record_test(store, case, item, done=True)
        elif item.recheck is not None and item.result is None:
            case = record_recheck(store, case, item, read_sound(item), build_reading_id())
    return pass_tests(store, case, head_off_at)


def read_sound(item: ProofItem) -> str:
    """Return what a meter shows where a sound loop is measured again."""
    assert item.recheck is not None
    return f"{(item.recheck.low_v + item.recheck.high_v) / 2:.2f} V"
