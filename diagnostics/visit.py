"""The use cases: the one place that joins the engine and the store."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from typing import Final, Literal

from diagnostics.cases import (
    Acknowledgement,
    Case,
    CaseStore,
    Outline,
    Reading,
    Repair,
    parse_meter,
    parse_site_text,
    write_site,
)
from diagnostics.errors import CaseError, DiagnosticsError, NotFoundError, SiteError
from diagnostics.faults import CONTEXTS, Context, parse_faults
from diagnostics.readings import (
    Bench,
    Measurement,
    Meter,
    list_measurements,
    parse_measurement,
    parse_value,
    read_table,
    show_value,
)
from diagnostics.reasoning import Diagnosis, Policy, Question, Taken, diagnose, find_symptom, list_hypotheses
from diagnostics.units import OVER, format_quantity
from diagnostics.wiring import Loop, QuickDescription, Site, build_loop, build_quick_site

Stage = Literal[
    "is_it_real", "outputs", "tell_people", "evidence_first", "for_us", "describe", "complaint", "work", "proof",
    "closing", "closed",
]  # fmt: skip
# Acknowledged once per visit, in this order, before any measurement (design page, section 10).
SAFETY: Final[tuple[Stage, ...]] = ("is_it_real", "outputs", "tell_people", "evidence_first")
# Steps of a visit that leave nothing else in the record are kept as acknowledgements of these names.
_FOR_US, _DESCRIBED, _TOLD, _TESTED = "for_us", "described", "complaint_told", "tested_after_repair"
_SKIP, _UNSKIP, _CLOCK, _ON_TEST, _DEMO, _BACK = (
    "skip ",
    "unskip ",
    "clock ",
    "on_test_until ",
    "invented ",
    "put_back ",
)
# An answer that says "nothing has come", by kind of measurement: it counts only once the settling time is over.
_NOTHING_YET: Final = {
    "panel_shows": ("normal",),
    "known_resistor": ("normal",),
    "head_off": ("normal",),
    "functional_test": ("no_report",),
    "lamp": ("dark",),
}


@dataclass(frozen=True, slots=True)
class Assessment:
    """A case and what it means: the loop, the readings as understood, the diagnosis."""

    case: Case
    loop: Loop
    taken: tuple[Taken, ...]
    diagnosis: Diagnosis


@lru_cache(maxsize=8)
def _build_bench(site_json: str, meter: Meter) -> Bench:
    loop = build_loop(Site.model_validate_json(site_json))
    return Bench(loop, list_hypotheses(loop), meter)


def build_bench(site: Site, meter: Meter | None = None) -> Bench:
    """Return the bench of a site with all its single faults; kept for the next call.

    Raises
    ------
    SiteError
        The site cannot be wired.
    """
    return _build_bench(site.model_dump_json(), meter or read_table().meter)


def assess_case(case: Case, policy: Policy | None = None) -> Assessment:
    """Return what a case means now.

    Readings taken while the complaint was absent are kept in the record and not counted: this model does not yet know
    faults that come and go.
    """
    meter = parse_meter(case.meter) if case.meter else None
    bench = build_bench(case.site, meter)
    taken = tuple(understand(bench.loop, r) for r in case.readings if r.condition != "absent")
    question = Question(
        contexts=_check_contexts(case.contexts),
        symptom=case.symptom or None,
        taken=taken,
        can=None if case.can is None else frozenset(case.can),
        standing_at=taken[-1].measurement.place if taken else "panel",
        tried=tuple(_split_class(r.fault) for r in case.repairs if r.cured is False),
        skipped=find_skipped(case),
    )
    return Assessment(case, bench.loop, taken, diagnose(bench, question, policy))


def _check_contexts(words: Sequence[str]) -> tuple[Context, ...]:
    return tuple(c for c in CONTEXTS if c in words)


def _split_class(text: str) -> tuple[str, str]:
    remedy, _, spot = text.partition("@")
    return remedy, spot


def write_class(repair_class: tuple[str, str]) -> str:
    """Return a repair class as a case keeps it: ``remedy@spot``."""
    return "@".join(repair_class)


def understand(loop: Loop, reading: Reading) -> Taken:
    """Return a reading as understood.

    Raises
    ------
    FaultError, QuantityError
        It names no measurement of this loop, or its value is not one.
    """
    measurement = parse_measurement(reading.measurement, loop, reading.where)
    return Taken(measurement, parse_value(measurement, loop, reading.value))


def build_reading(measurement: Measurement, value: str, reading_id: str, by: str = "") -> Reading:
    """Return a reading of a suggested measurement, ready to be stored."""
    return Reading(
        measurement=measurement.kind, value=value, red=measurement.red, black=measurement.black, at=measurement.at,
        mode=measurement.mode.text, reading_id=reading_id, by=by,
    )  # fmt: skip


def record_reading(store: CaseStore, case: Case, reading: Reading) -> Case:
    """Store a reading once it is understood; it is safe on disk when this returns.

    Raises
    ------
    QuantityError
        The value is not one; nothing was stored.
    CaseChangedError
        Somebody else has written to the case meanwhile; nothing was stored.
    """
    understand(build_bench(case.site).loop, reading)
    return store.append_reading(case.case_id, reading, case.revision)


def open_case(store: CaseStore, case: Case) -> Case:
    """Store a new case; raises NotFoundError for an unknown symptom and SiteError for a site that cannot be wired."""
    if case.symptom:
        find_symptom(case.symptom)
    build_bench(case.site)
    return store.create_case(case)


def find_stage(case: Case) -> Stage:
    """Return where a visit stands; everything is read from the record, so that a reload loses nothing."""
    done = {a.caution for a in case.acknowledged}
    if case.closing:
        return "closed"
    steps: tuple[tuple[Stage, str], ...] = (
        *((s, str(s)) for s in SAFETY),
        ("for_us", _FOR_US),
        ("describe", _DESCRIBED),
        ("complaint", _TOLD),
    )
    missing = next((stage for stage, name in steps if name not in done), None)
    if missing is not None:
        return missing
    cured = [r for r in case.repairs if r.cured]
    if not cured:
        return "work"
    tested = [a.at for a in case.acknowledged if a.caution == _TESTED]
    return "closing" if tested and max(tested) >= cured[-1].done_at else "proof"


def start_visit(store: CaseStore, demo: Case | None = None, hidden: str = "") -> Case:
    """Store a new case: nothing is described yet, or, for a try, all of ``demo`` with a ``hidden`` fault text."""
    if demo is None:
        site = build_quick_site(QuickDescription(style="two_wire_zone", detectors="1", name="New case"))[0]
        return store.create_case(Case(site, write_site(site)))
    now = datetime.now(UTC)
    names = (_FOR_US, _DESCRIBED, _TOLD, _DEMO + hidden)
    given = tuple(Acknowledgement(name, now) for name in names)
    return open_case(store, replace(demo, case_id="", readings=(), acknowledged=given, revision=0))


def acknowledge(store: CaseStore, case: Case, name: str) -> Case:
    """Note that a caution or a step of the visit was accepted; a name that is there already changes nothing."""
    if any(a.caution == name for a in case.acknowledged):
        return case
    return store.append_acknowledgement(case.case_id, Acknowledgement(name, datetime.now(UTC)), case.revision)


def tell_people(store: CaseStore, case: Case, hours: float | None) -> Case:
    """Note that people are told, and until when the system is on test; None: it is not monitored."""
    if hours is not None:
        case = extend_test(store, case, hours)
    return acknowledge(store, case, "tell_people")


def find_test_end(case: Case) -> datetime | None:
    """Return until when the system is on test, or None."""
    ends = [a.caution.removeprefix(_ON_TEST) for a in case.acknowledged if a.caution.startswith(_ON_TEST)]
    return datetime.fromisoformat(ends[-1]) if ends else None


def extend_test(store: CaseStore, case: Case, hours: float) -> Case:
    """Note that the system is on test for so many hours from now."""
    until = (datetime.now(UTC) + timedelta(hours=hours)).isoformat(timespec="seconds")
    return acknowledge(store, case, _ON_TEST + until)


def count_left_s(end: datetime) -> float:
    """Return the seconds from now to a moment; 0 when it is past."""
    return max(0.0, (end - datetime.now(UTC)).total_seconds())


def accept_loop(store: CaseStore, case: Case) -> Case:
    """Note that this is a conventional loop with a plain end resistor, as far as anybody knows."""
    return acknowledge(store, case, _FOR_US)


def describe_site(store: CaseStore, case: Case, site_text: str, name: str = "site") -> Case:
    """Describe the loop, or describe it anew; ``name`` stands for the file in findings.

    Raises
    ------
    SourceError, SiteError
        The text is no site, or the site cannot be wired; nothing was stored.
    """
    bench = build_bench(parse_site_text(site_text, name))
    _check_old_readings(bench.loop, case)
    case = store.append_site(case.case_id, site_text, case.revision)
    return acknowledge(store, case, _DESCRIBED)


def _check_old_readings(loop: Loop, case: Case) -> None:
    for n, reading in enumerate(case.readings, 1):
        try:
            understand(loop, reading)
        except DiagnosticsError as error:
            message = f"reading {n} cannot have been taken on this loop: {error.message}"
            raise SiteError(message, hint="take that reading back first, or keep the old description") from error


def tell_complaint(store: CaseStore, case: Case, symptom: str, contexts: tuple[str, ...], can: tuple[str, ...]) -> Case:
    """Store what is complained of (an empty text: none of those listed), the loop's past, and what is at hand."""
    if symptom:
        find_symptom(symptom)
    outline = Outline(contexts, symptom, can, case.meter, case.notes)
    case = store.append_outline(case.case_id, outline, case.revision)
    return acknowledge(store, case, _TOLD)


def find_skipped(case: Case) -> frozenset[str]:
    """Return the keys of the measurements that this visit leaves out."""
    left_out: set[str] = set()
    for a in case.acknowledged:
        if a.caution.startswith(_SKIP):
            left_out.add(a.caution.removeprefix(_SKIP))
        elif a.caution.startswith(_UNSKIP):
            left_out.discard(a.caution.removeprefix(_UNSKIP))
    return frozenset(left_out)


def skip_measurement(store: CaseStore, case: Case, key: str, *, skip: bool = True) -> Case:
    """Leave a measurement out of what is suggested, or take it in again; kept, so that it survives a reload."""
    if (key in find_skipped(case)) == skip:
        return case
    given = Acknowledgement((_SKIP if skip else _UNSKIP) + key, datetime.now(UTC))
    return store.append_acknowledgement(case.case_id, given, case.revision)


def start_clock(store: CaseStore, case: Case, key: str) -> Case:
    """Note that the settling time of a measurement begins now."""
    given = Acknowledgement(_CLOCK + key, datetime.now(UTC))
    return store.append_acknowledgement(case.case_id, given, case.revision)


def find_wait_s(case: Case, measurement: Measurement, now: datetime | None = None) -> float | None:
    """Return how many seconds of the settling time are left (0: it is over), or None when no clock was started."""
    since = [r.taken_at for r in case.readings if r.taken_at and _names(r, measurement)]
    begun = [a.at for a in case.acknowledged if a.caution == _CLOCK + measurement.key]
    begun = [at for at in begun if not since or at > max(since)]
    if not begun:
        return None
    gone_s = ((now or datetime.now(UTC)) - begun[-1]).total_seconds()
    return max(0.0, measurement.data.settling - gone_s)


def _names(reading: Reading, m: Measurement) -> bool:
    return (reading.measurement, reading.red, reading.black, reading.at) == (m.kind, m.red, m.black, m.at)


def is_too_early(measurement: Measurement, value: float | str, wait_s: float | None) -> bool:
    """Return whether an answer says that nothing has come while it still may; an advice, not a refusal."""
    return bool(wait_s) and value in _NOTHING_YET.get(measurement.kind, ())


def correct_reading(store: CaseStore, case: Case, old_id: str, reading: Reading) -> Case:
    """Take a reading back and store another in its place; the old one stays in the record.

    Raises as ``record_reading``; a value that is not understood leaves the old reading standing.
    """
    understand(build_bench(case.site).loop, reading)
    case = store.append_retraction(case.case_id, old_id, case.revision, "corrected")
    return store.append_reading(case.case_id, reading, case.revision)


def record_repair(store: CaseStore, case: Case, repair_class: tuple[str, str], *, cured: bool) -> Case:
    """Store that a repair was made, and whether the complaint is gone."""
    repair = Repair(write_class(repair_class), datetime.now(UTC), cured)
    return store.append_repair(case.case_id, repair, case.revision)


def deny_cure(store: CaseStore, case: Case) -> Case:
    """Note that the last cured repair did not cure after all."""
    cured = [r for r in case.repairs if r.cured]
    if not cured:
        raise NotFoundError("no repair of this case is noted as cured")
    return store.append_repair(case.case_id, replace(cured[-1], cured=False), case.revision)


def pass_tests(store: CaseStore, case: Case) -> Case:
    """Note that the fixed list of tests after a repair is done."""
    return store.append_acknowledgement(case.case_id, Acknowledgement(_TESTED, datetime.now(UTC)), case.revision)


def list_disturbed(assessment: Assessment) -> tuple[Measurement, ...]:
    """Return what this visit asked to be lifted, bridged or taken off, once each, and has not seen put back."""
    case = assessment.case
    done = {a.caution.removeprefix(_BACK) for a in case.acknowledged if a.caution.startswith(_BACK)}
    found = {(t.measurement.kind, t.measurement.at): t.measurement for t in assessment.taken}
    return tuple(m for m in found.values() if "put_back" in m.cautions and m.key not in done)


def put_back(store: CaseStore, case: Case, key: str) -> Case:
    """Note that what a measurement disturbed is back as it was."""
    return acknowledge(store, case, _BACK + key)


def find_hidden(case: Case) -> str | None:
    """Return the fault text that an invented case hides, or None for a case of real work."""
    marks = (a.caution.removeprefix(_DEMO) for a in case.acknowledged if a.caution.startswith(_DEMO))
    return next(marks, None)


def simulate_reading(loop: Loop, hidden: str, measurement: Measurement) -> str:
    """Return what a measurement would show, as a person would type it, if this fault were in the loop.

    Raises
    ------
    FaultError
        The loop cannot have that fault.
    """
    bench = Bench(loop, [parse_faults(hidden, loop)])
    (forecast,) = bench.forecast_all([measurement])
    if forecast.chance is not None:
        return forecast.tokens[int(forecast.chance[0].argmax())]
    if forecast.mean is None:
        raise TypeError("a forecast has either numbers or words")
    shown = show_value(float(forecast.mean[0]), "ohm" if measurement.unit == "ohm" else "V", bench.meter)
    return "OL" if shown == OVER else format_quantity(shown, measurement.unit, 4)


def find_measurement(loop: Loop, key: str) -> Measurement | None:
    """Return the measurement of this loop that a key names, or None."""
    return next((m for m in list_measurements(loop) if m.key == key), None)


def list_visits(store: CaseStore, limit: int = 12) -> tuple[Case | str, ...]:
    """Return the cases to show in a list: left impaired, then open, then closed; newest first.

    A case that cannot be read is given by its id.
    """
    rows = sorted(store.list_cases(), key=lambda r: 0 if r.closing == "left_impaired" else 1 if not r.closing else 2)
    return tuple(_load_or_name(store, r.case_id) for r in rows[:limit])


def _load_or_name(store: CaseStore, case_id: str) -> Case | str:
    try:
        return store.load_case(case_id)
    except CaseError:
        return case_id
