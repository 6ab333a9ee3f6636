"""What happens in a visit, each deed written to the store at once."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

from diagnostics.cases import (
    Acknowledgement,
    Case,
    CaseStore,
    Outline,
    Reading,
    Repair,
    parse_site_text,
    write_site,
)
from diagnostics.errors import CaseError, DiagnosticsError, NotFoundError, SiteError
from diagnostics.readings import Measurement
from diagnostics.reasoning import find_symptom
from diagnostics.wiring import Loop, QuickDescription, build_quick_site

from .assess import build_bench, name_disturbance, understand
from .marks import CLOCK, DEMO, DESCRIBED, FOR_US, ON_TEST, SKIP, TESTED, TOLD, UNSKIP, find_skipped


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


def start_visit(store: CaseStore, demo: Case | None = None, hidden: str = "") -> Case:
    """Store a new case: nothing is described yet, or, for a try, all of ``demo`` with a ``hidden`` fault text."""
    if demo is None:
        site = build_quick_site(QuickDescription(style="two_wire_zone", detectors="1", name="New case"))[0]
        return store.create_case(Case(site, write_site(site)))
    now = datetime.now(UTC)
    names = (FOR_US, DESCRIBED, TOLD, DEMO + hidden)
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


def extend_test(store: CaseStore, case: Case, hours: float) -> Case:
    """Note that the system is on test for so many hours from now."""
    until = (datetime.now(UTC) + timedelta(hours=hours)).isoformat(timespec="seconds")
    return acknowledge(store, case, ON_TEST + until)


def accept_loop(store: CaseStore, case: Case) -> Case:
    """Note that this is a conventional loop with a plain end resistor, as far as anybody knows."""
    return acknowledge(store, case, FOR_US)


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
    return acknowledge(store, case, DESCRIBED)


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
    return acknowledge(store, case, TOLD)


def skip_measurement(store: CaseStore, case: Case, key: str, *, skip: bool = True) -> Case:
    """Leave a measurement out of what is suggested, or take it in again; kept, so that it survives a reload."""
    if (key in find_skipped(case)) == skip:
        return case
    given = Acknowledgement((SKIP if skip else UNSKIP) + key, datetime.now(UTC))
    return store.append_acknowledgement(case.case_id, given, case.revision)


def start_clock(store: CaseStore, case: Case, key: str) -> Case:
    """Note that the settling time of a measurement begins now."""
    given = Acknowledgement(CLOCK + key, datetime.now(UTC))
    return store.append_acknowledgement(case.case_id, given, case.revision)


def correct_reading(store: CaseStore, case: Case, old_id: str, reading: Reading) -> Case:
    """Take a reading back and store another in its place; the old one stays in the record.

    Raises as ``record_reading``; a value that is not understood leaves the old reading standing.
    """
    understand(build_bench(case.site).loop, reading)
    case = store.append_retraction(case.case_id, old_id, case.revision, "corrected")
    return store.append_reading(case.case_id, reading, case.revision)


def record_repair(store: CaseStore, case: Case, repair_text: str, *, cured: bool) -> Case:
    """Store that a repair was made, a class as ``write_class`` tells it or plain words, and whether it cured."""
    repair = Repair(repair_text, datetime.now(UTC), cured)
    return store.append_repair(case.case_id, repair, case.revision)


def deny_cure(store: CaseStore, case: Case) -> Case:
    """Note that the last cured repair did not cure after all."""
    cured = [r for r in case.repairs if r.cured]
    if not cured:
        raise NotFoundError("no repair of this case is noted as cured")
    return store.append_repair(case.case_id, replace(cured[-1], cured=False), case.revision)


def pass_tests(store: CaseStore, case: Case) -> Case:
    """Note that the fixed list of tests after a repair is done."""
    return store.append_acknowledgement(case.case_id, Acknowledgement(TESTED, datetime.now(UTC)), case.revision)


def put_back(store: CaseStore, case: Case, measurement: Measurement) -> Case:
    """Note that what a measurement disturbed is back as it was."""
    given = Acknowledgement(name_disturbance(measurement), datetime.now(UTC))
    return store.append_acknowledgement(case.case_id, given, case.revision)


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
