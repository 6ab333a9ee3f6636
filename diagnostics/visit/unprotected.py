"""Which detectors protect nobody now, by what was read last."""

from collections.abc import Iterator, Mapping
from typing import Final, Literal

from diagnostics.cases import Case, Reading
from diagnostics.circuit import STANDBY
from diagnostics.errors import DiagnosticsError
from diagnostics.readings import list_walked
from diagnostics.reasoning import Taken
from diagnostics.wiring import Loop

from .assess import understand

# What tells of one detector, by kind of measurement, and whether it is silent then; all other words tell nothing of it.
_TELLS: Final = {
    "lamp": {"dark": True, "lit": False, "alarm": False},
    "functional_test": {"no_report": True, "reports_and_clears": False, "reports_and_stays": False},
}
# Of how many detectors a complaint says that they protect nobody: of *some* or *all* of a loop at once, or of *any*,
# which are all named once they are known.
Silent = Literal["", "any", "some", "all"]
SILENT: Final[Mapping[str, Silent]] = {
    "one_does_not_report": "any",
    "detectors_dark": "any",
    "only_first_report": "some",
    "some_do_not_report": "some",
    "none_report": "all",
}


def list_unprotected(case: Case, loop: Loop) -> tuple[str, ...]:
    """Return the detectors that were dark, or did not report, when last looked at; none of before a repair that cured.

    Only what was seen with the loop as it is counts, while the complaint was there.
    """
    cured = [r.done_at for r in case.repairs if r.cured]
    since = (r for r in case.readings if not cured or (r.taken_at is not None and r.taken_at >= max(cured)))
    silent: dict[str, bool] = {}
    for taken in _understand_all(since, loop):
        silent |= _tell(taken, loop)
    return tuple(d.name for d in loop.detectors if silent.get(d.name))


def find_silent(case: Case) -> Silent:
    """Return of how many detectors the complaint says that they protect nobody, until a repair cured."""
    return "" if any(r.cured for r in case.repairs) else SILENT.get(case.symptom or "", "")


def was_dark(case: Case, loop: Loop) -> bool:
    """Return whether any detector was dark, or did not report, before the last repair that cured: told, or read."""
    cured = [r.done_at for r in case.repairs if r.cured]
    before = (r for r in case.readings if not cured or r.taken_at is None or r.taken_at < max(cured))
    return case.symptom == "detectors_dark" or any(_is_any_dark(t, loop) for t in _understand_all(before, loop))


def _understand_all(readings: Iterator[Reading], loop: Loop) -> Iterator[Taken]:
    for reading in (r for r in readings if r.condition != "absent"):
        try:
            yield understand(loop, reading)
        except DiagnosticsError:  # a record of another program, or of another description
            continue


def _tell(taken: Taken, loop: Loop) -> dict[str, bool]:
    """Return for the detectors that a reading tells of whether they are silent."""
    m, value = taken.measurement, str(taken.value)
    if m.kind == "which_dark" and m.mode == STANDBY:
        dark = set(value.split(","))
        return {d.name: d.name in dark for d in list_walked(m, loop)}
    is_silent = _TELLS.get(m.kind, {}).get(value)
    return {} if is_silent is None or (m.kind == "lamp" and m.mode != STANDBY) else {m.at: is_silent}


def _is_any_dark(taken: Taken, loop: Loop) -> bool:
    m = taken.measurement
    some_dark = m.kind == "how_many_dark" and m.mode == STANDBY and str(taken.value) != "0"
    return some_dark or any(_tell(taken, loop).values())
