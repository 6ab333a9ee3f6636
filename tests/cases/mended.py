"""An invented case with a repair that cured."""

from diagnostics.cases import Case, CaseStore, Reading
from diagnostics.visit import record_reading, record_repair

VOLTS = Reading("volts", "23,9", "panel.zone1+", "panel.zone1-")


def build_mended(store: CaseStore, case: Case, repair: str = "join_conductor@run det2") -> Case:
    """Return a case with a repair that cured."""
    return record_repair(store, record_reading(store, case, VOLTS), repair, cured=True)
