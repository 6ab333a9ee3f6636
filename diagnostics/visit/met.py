"""What was met by the way, kept as a reading: by whoever complains, or by a test after a repair that failed."""

from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Final

from diagnostics.cases import Body, Case, CaseStore, Corrected, Reading, Retracted, build_reading_id
from diagnostics.readings import Measurement, list_measurements
from diagnostics.wiring import Loop, build_loop

from .assess import build_reading, understand
from .deeds import complete_reading
from .marks import WITH_COMPLAINT, was_told

# Where a complaint that somebody tells has been met, if it is known at which detector: the measurement and its word.
MET_AS: Final[Mapping[str, tuple[str, str]]] = {
    "one_does_not_report": ("functional_test", "no_report"),
    "some_do_not_report": ("functional_test", "no_report"),
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
    return next((r.at for r in reversed(_list_told(case)) if (r.measurement, r.value) == (kind, word)), "")


def _list_told(case: Case) -> list[Reading]:
    return [r for r in case.readings if was_told(r)]


def tell_met(store: CaseStore, case: Case, symptom: str, at: str) -> Case:
    """Store at which detector a complaint was met, as a reading, in one act; told again it changes nothing.

    Told otherwise, of another detector or another complaint, it takes the place of what was told before; told of none,
    that is taken back. What somebody has read stays, and is not told a second time.
    """
    kind, word = MET_AS.get(symptom, ("", ""))
    loop = build_loop(case.site)
    m = _find_met(loop, kind, at)
    same = [r for r in _list_told(case) if m is not None and (r.measurement, r.value, r.at) == (kind, word, at)]
    others = [r for r in _list_told(case) if r not in same]
    told: list[Body] = []
    if m is not None and not same and all((r.measurement, r.value, r.at) != (kind, word, at) for r in case.readings):
        fresh = complete_reading(loop, build_reading(m, word, build_reading_id(), WITH_COMPLAINT))
        told = [_put(fresh, others.pop() if others else None)]
    bodies = [*(Retracted(old.reading_id, datetime.now(UTC), "told otherwise") for old in others), *told]
    return store.append_act(case.case_id, bodies, case.revision) if bodies else case


def list_failed(case: Case, test: str, at: str, word: str) -> tuple[Body, ...]:
    """Return what is stored of what a test after a repair showed at a detector when it failed: one reading for all."""
    loop = build_loop(case.site)
    m = _find_met(loop, FAILS_AS[test][0], at)
    known = None if m is None else _find_failed(case, m, test)
    if m is None or (known is not None and known.value == word):
        return ()
    return (_put(complete_reading(loop, build_reading(m, word, build_reading_id())), known),)


def list_not_failed(case: Case, test: str, at: str) -> tuple[Body, ...]:
    """Return what is stored where a test had not failed, after all: what it was told to have shown is taken back."""
    m = _find_met(build_loop(case.site), FAILS_AS[test][0], at) if test in FAILS_AS else None
    known = None if m is None else _find_failed(case, m, test)
    return () if known is None else (Retracted(known.reading_id, datetime.now(UTC), "the test had not failed"),)


def _put(fresh: Reading, old: Reading | None) -> Body:
    """Return a reading as stored: by itself, or in the place of another."""
    return fresh if old is None else Corrected(old.reading_id, fresh, datetime.now(UTC), "corrected")


def _find_failed(case: Case, m: Measurement, test: str) -> Reading | None:
    """Return what a test since the last repair was told to have shown, or None."""
    loop, since = build_loop(case.site), max((r.done_at for r in case.repairs), default=None)
    fresh = (r for r in reversed(case.readings) if since is None or (r.taken_at and r.taken_at >= since))
    return next((r for r in fresh if r.value in FAILS_AS[test][1] and understand(loop, r).measurement == m), None)


def _find_met(loop: Loop, kind: str, at: str) -> Measurement | None:
    return next((m for m in list_measurements(loop) if m.kind == kind and m.at == at and at), None)
