"""An invented case with a repair that cured."""

from diagnostics.cases import Case, CaseStore, Reading
from diagnostics.visit import FUNCTIONAL, list_proof, pass_tests, record_reading, record_repair, record_test
from diagnostics.wiring import build_loop

VOLTS = Reading("volts", "23,9", "panel.zone1+", "panel.zone1-")


def build_mended(store: CaseStore, case: Case, repair: str = "join_conductor@run det2") -> Case:
    """Return a case with a repair that cured."""
    return record_repair(store, record_reading(store, case, VOLTS), repair, cured=True)


def prove(store: CaseStore, case: Case, head_off_at: str = "") -> Case:
    """Return the case with every test of its list done, the detectors' one by one."""
    for item in list_proof(case, build_loop(case.site)):
        if item.test == FUNCTIONAL:
            case = record_test(store, case, item, done=True)
    return pass_tests(store, case, head_off_at)
