"""How a site was left at an earlier visit, found again and kept with a new case."""

from typing import Final

from diagnostics.cases import Baseline, Case, CaseStore, Reading
from diagnostics.errors import CaseError, DiagnosticsError, NotFoundError
from diagnostics.readings import parse_measurement
from diagnostics.reasoning import Taken
from diagnostics.wiring import Loop, Site, build_loop

from .assess import understand
from .marks import find_hidden, is_tested

# Modes in which a sound loop has one value; in all others something was done to it.
_SOUND_MODES: Final = ("standby", "during_reset", "lifted", "lifted_supply_on")


def list_as_left(case: Case) -> tuple[Reading, ...]:
    """Return the readings that tell how a restored loop was left: volts and ohms after the last repair that cured.

    Empty unless the case is closed as mended, with its tests done. The latest reading of each set-up counts.
    """
    if case.closing != "mended" or not is_tested(case) or find_hidden(case) is not None:
        return ()
    mended_at = max(r.done_at for r in case.repairs if r.cured)
    loop = build_loop(case.site)
    latest: dict[str, Reading] = {}
    for reading in case.readings:
        if reading.taken_at is not None and reading.taken_at >= mended_at and (name := _name_sound(loop, reading)):
            latest.pop(name, None)
            latest[name] = reading
    return tuple(latest.values())


def _name_sound(loop: Loop, reading: Reading) -> str:
    """Return the set-up of a reading that a sound loop has a number for, or an empty text."""
    try:
        measurement = parse_measurement(reading.measurement, loop, reading.where)
    except DiagnosticsError:
        return ""
    return measurement.set_up if measurement.unit and measurement.mode.word in _SOUND_MODES else ""


def find_baseline(store: CaseStore, case: Case) -> Baseline | None:
    """Return how this very loop was left at the last visit that restored it, or None.

    It must have been described the same, but for its note: a name alone may stand for many places. Whether it is the
    same place is for a person to say, so nothing is taken over by itself. Raises CaseError where the store does.
    """
    wanted = _strip(case.site)
    for case_id in store.list_closed("mended"):
        try:
            earlier = store.load_case(case_id)
        except (CaseError, NotFoundError):
            continue  # one damaged case does not take the others away
        if case_id != case.case_id and _strip(earlier.site) == wanted and (readings := list_as_left(earlier)):
            return Baseline(readings, case_id)
    return None


def _strip(site: Site) -> Site:
    return site.model_copy(update={"note": ""})


def adopt_baseline(store: CaseStore, case: Case, baseline: Baseline) -> Case:
    """Store a baseline with a case, once a person has said that it is the same place; an empty one takes it out.

    Raises
    ------
    FaultError, QuantityError
        A reading of it is none of this loop; nothing was stored.
    """
    list_baseline(case.site, baseline)
    return store.append_baseline(case.case_id, baseline, case.revision)


def list_baseline(site: Site, baseline: Baseline) -> tuple[Taken, ...]:
    """Return a baseline as the reasoning takes it: readings of the sound loop, as they were understood."""
    loop = build_loop(site)
    return tuple(understand(loop, reading) for reading in baseline.readings)
