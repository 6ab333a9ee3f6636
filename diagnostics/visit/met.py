"""What was met by the way, kept as a reading: by whoever complains, or by a test after a repair that failed."""

from collections.abc import Mapping
from typing import Final

from diagnostics.cases import Case, CaseStore, build_reading_id
from diagnostics.readings import Measurement, list_measurements
from diagnostics.wiring import Loop, build_loop

from .assess import build_reading, understand
from .deeds import correct_reading, record_reading, take_back_reading

# Where a complaint that somebody tells has been met, if it is known at which detector: the measurement and its word.
MET_AS: Final[Mapping[str, tuple[str, str]]] = {
    "one_does_not_report": ("functional_test", "no_report"),
    "wrong_zone_reports": ("functional_test", "reports_wrong_zone"),
    "will_not_reset": ("functional_test", "reports_and_stays"),
    "no_trouble_with_head_off": ("head_off", "normal"),
    "detectors_dark": ("lamp", "dark"),
}
# The measurement that a test of the list after a repair is, and the words with which it fails.
FAILS_AS: Final[Mapping[str, tuple[str, tuple[str, ...]]]] = {
    "functional_test": ("functional_test", ("no_report", "reports_wrong_zone", "reports_and_stays")),
    "head_off_test": ("head_off", ("normal",)),
    "at_rest": ("panel_shows", ("trouble", "alarm")),
}


def list_met_at(loop: Loop, symptom: str) -> tuple[str, ...]:
    """Return the detectors at which a complaint can have been met; none for a complaint of no detector."""
    kind, _ = MET_AS.get(symptom, ("", ""))
    found = {m.at for m in list_measurements(loop) if m.kind == kind}
    return tuple(d.name for d in loop.detectors if d.name in found)


def list_failures(loop: Loop, test: str, at: str) -> tuple[str, ...]:
    """Return the words with which a test of the list after a repair can fail at a detector; none for one without."""
    kind, words = FAILS_AS.get(test, ("", ()))
    return words if _find_met(loop, kind, at) is not None else ()


def find_met_at(case: Case, symptom: str) -> str:
    """Return the detector at which a complaint was met, as it was told last; an empty text where nobody said."""
    kind, word = MET_AS.get(symptom, ("", ""))
    return next((r.at for r in reversed(case.readings) if (r.measurement, r.value) == (kind, word)), "")


def tell_met(store: CaseStore, case: Case, symptom: str, at: str) -> Case:
    """Store at which detector a complaint was met, as a reading; told again it changes nothing.

    Told of another detector than before it takes the place of what was told; of none, that is taken back.
    """
    kind, word = MET_AS.get(symptom, ("", ""))
    before = find_met_at(case, symptom)
    if not before or before == at:
        return _record(store, case, kind, at, word)
    old = next(r for r in reversed(case.readings) if (r.measurement, r.value, r.at) == (kind, word, before))
    m = _find_met(build_loop(case.site), kind, at)
    if m is None:
        return take_back_reading(store, case, old.reading_id, "told otherwise")
    return correct_reading(store, case, old.reading_id, build_reading(m, word, build_reading_id()))


def tell_failed(store: CaseStore, case: Case, test: str, at: str, word: str) -> Case:
    """Store what a test after a repair showed at a detector when it failed, as a reading."""
    return _record(store, case, FAILS_AS[test][0], at, word)


def _record(store: CaseStore, case: Case, kind: str, at: str, word: str) -> Case:
    loop = build_loop(case.site)
    m = _find_met(loop, kind, at)
    if m is None:
        return case
    since = max((r.done_at for r in case.repairs), default=None)
    for reading in case.readings:
        fresh = since is None or (reading.taken_at is not None and reading.taken_at >= since)
        if fresh and reading.at == at and understand(loop, reading).measurement == m and reading.value == word:
            return case
    return record_reading(store, case, build_reading(m, word, build_reading_id()))


def _find_met(loop: Loop, kind: str, at: str) -> Measurement | None:
    return next((m for m in list_measurements(loop) if m.kind == kind and m.at == at and at), None)
