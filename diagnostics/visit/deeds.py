"""What happens in a visit, each deed written to the store at once."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

from diagnostics.cases import (
    Acknowledgement,
    Case,
    CaseStore,
    Closing,
    Leaving,
    Outline,
    ProofResult,
    Reading,
    Repair,
    Suggestion,
    Understood,
    build_understood,
    parse_site_text,
    write_site,
)
from diagnostics.errors import CaseError, DiagnosticsError, NotFoundError, SiteError
from diagnostics.readings import Measurement
from diagnostics.reasoning import find_symptom
from diagnostics.wiring import Loop, QuickDescription, build_loop, build_quick_site

from .assess import build_bench, build_reading, understand
from .disturbed import find_disturbances, name_disturbance
from .marks import (
    ABOUT,
    CLOCK,
    DEMO,
    DESCRIBED,
    FOR_US,
    NOT_MONITORED,
    ON_TEST,
    SKIP,
    TESTED,
    TOLD,
    UNSKIP,
    find_about,
    find_skipped,
    is_accepted,
    is_tested,
)
from .offered import answer_suggestion
from .proof import FUNCTIONAL, HEAD_OFF, RECHECK, ProofItem, list_proof, list_untested
from .rooms import name_rooms


def record_reading(store: CaseStore, case: Case, reading: Reading, suggestion: Suggestion | None = None) -> Case:
    """Store a reading once it is understood, and with it what was understood; it is on disk when this returns.

    ``suggestion`` is the step that was suggested at that moment, see ``build_suggestion``.

    Raises
    ------
    QuantityError
        The value is not one; nothing was stored.
    CaseChangedError
        Somebody else has written to the case meanwhile; nothing was stored.
    """
    loop = build_bench(case.site).loop
    whole = _complete(loop, reading)
    told = answer_suggestion(loop, suggestion, whole) if suggestion else None
    return store.append_reading(case.case_id, whole, case.revision, told)


def _complete(loop: Loop, reading: Reading) -> Reading:
    """Return a reading with what is understood of its text now, and a moment."""
    stored = _understand_now(loop, replace(reading, understood=None))
    return replace(reading, understood=stored, taken_at=reading.taken_at or datetime.now(UTC))


def open_case(store: CaseStore, case: Case) -> Case:
    """Store a new case; raises NotFoundError for an unknown symptom and SiteError for a site that cannot be wired."""
    if case.symptom:
        find_symptom(case.symptom)
    loop = build_bench(case.site).loop
    bare = (r if r.understood else replace(r, understood=_understand_now(loop, r)) for r in case.readings)
    return store.create_case(replace(case, readings=tuple(bare)))


def _understand_now(loop: Loop, reading: Reading) -> Understood:
    taken = understand(loop, reading)
    return build_understood(taken.value, taken.measurement.unit)


def start_visit(store: CaseStore, demo: Case | None = None, hidden: str = "", about: str = "") -> Case:
    """Store a new case: nothing is described yet, or, for a try, all of ``demo`` with a ``hidden`` fault text.

    ``about`` is the zone of the loop that the complaint of a try is about, where it has several.
    """
    if demo is None:
        site = build_quick_site(QuickDescription(style="two_wire_zone", detectors="1", name="New case"))[0]
        return store.create_case(Case(site, write_site(site)))
    now = datetime.now(UTC)
    names = (FOR_US, DESCRIBED, TOLD, DEMO + hidden, *([ABOUT + about] if about else []))
    given = tuple(Acknowledgement(name, now) for name in names)
    return open_case(store, replace(demo, case_id="", readings=(), acknowledged=given, revision=0))


def acknowledge(store: CaseStore, case: Case, name: str) -> Case:
    """Note that a caution or a step of the visit was accepted; a name that holds already changes nothing."""
    if is_accepted(case, name):
        return case
    return store.append_acknowledgement(case.case_id, Acknowledgement(name, datetime.now(UTC)), case.revision)


def tell_people(store: CaseStore, case: Case, hours: float | None) -> Case:
    """Note that people are told, and until when the system is on test; None: it is not monitored."""
    case = acknowledge(store, case, NOT_MONITORED) if hours is None else extend_test(store, case, hours)
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


def tell_place(store: CaseStore, case: Case, name: str, room: str) -> Case:
    """Note which room a detector is in, on a loop whose order is not known; it is a revision of the description.

    Raises
    ------
    NotFoundError
        There is no such detector, or its loop has an order already.
    CaseError
        No room is given.
    """
    chain = build_loop(case.site).find_chain(name)
    if chain is None or chain.has_order or name not in (names := [d.name for d in chain.detectors]):
        raise NotFoundError(f"{name[:40]!r} is no detector whose place is to be found")
    if not room.strip():
        raise CaseError("say in which room that detector is", hint="as people there call it")
    places = dict(sorted({**chain.spec.places, names.index(name) + 1: room.strip()[:120]}.items()))
    told = chain.spec.model_copy(update={"places": places})
    loops = tuple(told if spec == chain.spec else spec for spec in case.site.loops)
    return describe_site(store, case, write_site(case.site.model_copy(update={"loops": loops})))


def tell_rooms(store: CaseStore, case: Case, rooms: tuple[str, ...]) -> Case:
    """Note which room each detector is in, in the order of the wiring; it is a revision of the description.

    Raises
    ------
    SiteError
        There are more rooms than detectors.
    CaseError
        No room is named.
    """
    if not any(rooms):
        raise CaseError("name at least one room", hint="one a line, in the order of the wiring")
    return describe_site(store, case, write_site(name_rooms(case.site, rooms)))


def _check_old_readings(loop: Loop, case: Case) -> None:
    for n, reading in enumerate(case.readings, 1):
        try:
            understand(loop, reading)
        except DiagnosticsError as error:
            message = f"reading {n} cannot have been taken on this loop: {error.message}"
            raise SiteError(message, hint="take that reading back first, or keep the old description") from error


def tell_complaint(
    store: CaseStore, case: Case, symptom: str, contexts: tuple[str, ...], can: tuple[str, ...] | None
) -> Case:
    """Store what is complained of (an empty text: none of those listed), the loop's past, and what is at hand.

    ``can`` None: nobody said, and nothing is ruled out.
    """
    if symptom:
        find_symptom(symptom)
    outline = Outline(contexts, symptom, can, case.meter, case.notes)
    case = store.append_outline(case.case_id, outline, case.revision)
    return acknowledge(store, case, TOLD)


def tell_loop(store: CaseStore, case: Case, zone: str) -> Case:
    """Note which loop of several the complaint is about, by its zone; an empty text: not known.

    Raises
    ------
    NotFoundError
        No loop is on this zone.
    """
    zones = [loop.zone for loop in case.site.loops]
    if zone and zone not in zones:
        raise NotFoundError(f"no loop is on zone {zone[:40]!r}", hint=f"there are {', '.join(zones)}")
    if zone == find_about(case):
        return case
    given = Acknowledgement(ABOUT + zone, datetime.now(UTC))
    return store.append_acknowledgement(case.case_id, given, case.revision)


def skip_measurement(
    store: CaseStore, case: Case, key: str, *, skip: bool = True, suggestion: Suggestion | None = None
) -> Case:
    """Leave a measurement out of what is suggested, or take it in again; kept, so that it survives a reload.

    ``suggestion`` is the step that was suggested at that moment, see ``build_suggestion``.
    """
    if (key in find_skipped(case)) == skip:
        return case
    given = Acknowledgement((SKIP if skip else UNSKIP) + key, datetime.now(UTC))
    told = replace(suggestion, outcome="skipped" if suggestion.what == key else "other") if suggestion else None
    return store.append_acknowledgement(case.case_id, given, case.revision, told)


def start_clock(store: CaseStore, case: Case, key: str) -> Case:
    """Note that the settling time of a measurement begins now."""
    given = Acknowledgement(CLOCK + key, datetime.now(UTC))
    return store.append_acknowledgement(case.case_id, given, case.revision)


def correct_reading(store: CaseStore, case: Case, old_id: str, reading: Reading) -> Case:
    """Take a reading back and store another in its place, in one act; the old one stays in the record.

    Raises as ``record_reading``; a value that is not understood leaves the old reading standing.
    """
    whole = _complete(build_bench(case.site).loop, reading)
    return store.append_correction(case.case_id, old_id, whole, case.revision, "corrected")


def record_repair(
    store: CaseStore, case: Case, repair_text: str, *, cured: bool, suggestion: Suggestion | None = None
) -> Case:
    """Store that a repair was made, a class as ``write_class`` tells it or plain words, and whether it cured.

    ``suggestion`` is the step that was suggested at that moment, see ``build_suggestion``.
    """
    repair = Repair(repair_text, datetime.now(UTC), cured)
    told = (
        replace(suggestion, outcome="followed" if suggestion.what == repair_text else "other") if suggestion else None
    )
    return store.append_repair(case.case_id, repair, case.revision, told)


def deny_cure(store: CaseStore, case: Case) -> Case:
    """Note that the last cured repair did not cure after all."""
    cured = [r for r in case.repairs if r.cured]
    if not cured:
        raise NotFoundError("no repair of this case is noted as cured")
    return store.append_repair(case.case_id, replace(cured[-1], cured=False), case.revision)


def take_back_repair(store: CaseStore, case: Case, number: int) -> Case:
    """Note that it is not known whether a repair cured, or that it was noted by mistake; ``number`` counts from 0.

    It stays in the record; neither the tests after it nor the search build on it any longer.

    Raises
    ------
    NotFoundError
        The case has no such repair.
    """
    if not 0 <= number < len(case.repairs):
        raise NotFoundError(f"this case has no repair number {number + 1}")
    return store.append_repair(case.case_id, replace(case.repairs[number], cured=None), case.revision)


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
    return store.append_tests(case.case_id, (result,), case.revision)


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
        Some items were never noted; names how many.
    """
    open_items = [i for i in list_proof(case, build_loop(case.site)) if i.result is None]
    if open_items:
        count = len(open_items)
        message = f"{count} test{'s are' if count > 1 else ' is'} neither done nor left out"
        raise CaseError(message, hint="mark each as done, or say why it is not")
    return store.append_acknowledgement(case.case_id, Acknowledgement(TESTED, datetime.now(UTC)), case.revision)


def pass_tests(store: CaseStore, case: Case, head_off_at: str = "") -> Case:
    """Note that what is open at the end of the list is done, each item by itself, in one act; it may end the list.

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


def close_case(store: CaseStore, case: Case, closing: Closing, *, told: str = "", note: str = "", by: str = "") -> Case:
    """Close a case, and keep when, by whom, and who was told.

    Raises
    ------
    CaseError
        Something still stands lifted, bridged or off and the case is not left impaired; or it is called mended
        without a repair that cured and every one of its tests.
    """
    loop = build_loop(case.site)
    if closing != "left_impaired" and find_disturbances(case, loop):
        raise CaseError("not everything has been put back", hint="put it back, or close the case as left impaired")
    if closing == "mended" and not is_tested(case):
        raise CaseError("mended means repaired and tested", hint="note the repair, then the tests after it")
    if closing == "mended" and (open_tests := len(list_untested(case, loop))):
        hint = "do them, or close the case as waiting or left impaired"
        raise CaseError(f"mended means tested, and not done is: {open_tests} of the tests", hint=hint)
    return store.append_closing(case.case_id, closing, case.revision, Leaving(datetime.now(UTC), by, told, note))


def reopen_case(store: CaseStore, case: Case) -> Case:
    """Open a closed case again: a new visit, with its first questions anew; what was read and done is kept."""
    return store.append_closing(case.case_id, "", case.revision)


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
