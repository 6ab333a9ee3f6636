"""What happens in a visit, each deed written to the store at once."""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import Final

from diagnostics.cases import (
    COME_BACK,
    Acknowledgement,
    Case,
    CaseStore,
    Closing,
    Corrected,
    Leaving,
    Outline,
    Reading,
    Repair,
    Saw,
    Suggestion,
    Understood,
    build_reading_id,
    build_understood,
    write_site,
)
from diagnostics.errors import CaseError, NotFoundError
from diagnostics.readings import Measurement
from diagnostics.reasoning import find_symptom
from diagnostics.wiring import Loop, QuickDescription, build_loop, build_quick_site

from .assess import build_bench, understand
from .beyond import list_beyond
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
    TOLD,
    UNSKIP,
    find_about,
    find_skipped,
    is_accepted,
    is_tested,
    is_told,
)
from .offered import answer_suggestion
from .proof import list_untested

RIGHT: Final = frozenset({"mended", "no_fault_found"})  # the closings that say that nothing is wrong any more


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
    whole = complete_reading(loop, reading)
    told = answer_suggestion(loop, suggestion, whole) if suggestion else None
    return store.append_reading(case.case_id, whole, case.revision, told)


def complete_reading(loop: Loop, reading: Reading) -> Reading:
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
    now = datetime.now(UTC)
    period = NOT_MONITORED if hours is None else _write_period(hours)
    given = tuple(Acknowledgement(name, now) for name in (period, "tell_people"))
    return store.append_acknowledgements(case.case_id, given, case.revision)


def extend_test(store: CaseStore, case: Case, hours: float) -> Case:
    """Note that the system is on test for so many hours from now."""
    return acknowledge(store, case, _write_period(hours))


def _write_period(hours: float) -> str:
    """Return the mark of a test period of so many hours from now, to the minute as it is told to the station."""
    return ON_TEST + (datetime.now(UTC) + timedelta(hours=hours)).isoformat(timespec="minutes")


def accept_loop(store: CaseStore, case: Case) -> Case:
    """Note that this is a conventional loop with a plain end resistor, as far as anybody knows."""
    return acknowledge(store, case, FOR_US)


def tell_complaint(
    store: CaseStore,
    case: Case,
    symptom: str,
    contexts: tuple[str, ...],
    can: tuple[str, ...] | None,
    about: str | None = None,
) -> Case:
    """Store what is complained of (an empty text: none of those listed), the loop's past, and what is at hand.

    ``can`` None: nobody said, and nothing is ruled out. ``about`` is the zone of the loop in question where there are
    several, an empty text where that is not known, None where nobody said.

    Raises
    ------
    NotFoundError
        There is no such complaint, or no loop is on this zone.
    """
    if symptom:
        find_symptom(symptom)
    new = [] if about is None or about == find_about(case) else [_write_about(case, about)]
    new += [] if is_told(case) else [TOLD]
    outline = Outline(contexts, symptom, can, case.meter, case.notes)
    if outline == case.outline and not new:
        return case
    now = datetime.now(UTC)
    return store.append_outline(case.case_id, outline, case.revision, *(Acknowledgement(name, now) for name in new))


def tell_loop(store: CaseStore, case: Case, zone: str) -> Case:
    """Note which loop of several the complaint is about, by its zone; an empty text: not known.

    Raises
    ------
    NotFoundError
        No loop is on this zone.
    """
    mark = _write_about(case, zone)
    if zone == find_about(case):
        return case
    return store.append_acknowledgement(case.case_id, Acknowledgement(mark, datetime.now(UTC)), case.revision)


def _write_about(case: Case, zone: str) -> str:
    """Return the mark of the loop in question. Raises NotFoundError for a zone that has none."""
    zones = [loop.zone for loop in case.site.loops]
    if zone and zone not in zones:
        raise NotFoundError(f"no loop is on zone {zone[:40]!r}", hint=f"there are {', '.join(zones)}")
    return ABOUT + zone


def skip_measurement(
    store: CaseStore, case: Case, key: str, *, skip: bool = True, suggestion: Suggestion | None = None
) -> Case:
    """Leave a measurement out of what is suggested, or take it in again; kept, so that it survives a reload.

    ``suggestion`` is the step that was suggested at that moment, see ``build_suggestion``.
    """
    return skip_measurements(store, case, (key,), skip=skip, suggestion=suggestion)


def skip_measurements(
    store: CaseStore, case: Case, keys: Iterable[str], *, skip: bool = True, suggestion: Suggestion | None = None
) -> Case:
    """Leave several measurements out, or take them in again, in one act."""
    now, known = datetime.now(UTC), find_skipped(case)
    new = [key for key in keys if (key in known) != skip]
    if not new:
        return case
    told = replace(suggestion, outcome="skipped" if suggestion.what in new else "other") if suggestion else None
    given = [Acknowledgement((SKIP if skip else UNSKIP) + key, now) for key in new]
    return store.append_acknowledgements(case.case_id, given, case.revision, told)


def start_clock(store: CaseStore, case: Case, key: str) -> Case:
    """Note that the settling time of a measurement begins now."""
    given = Acknowledgement(CLOCK + key, datetime.now(UTC))
    return store.append_acknowledgement(case.case_id, given, case.revision)


def take_back_reading(store: CaseStore, case: Case, reading_id: str, why: str) -> Case:
    """Take a reading back; it stays in the record and no longer counts. Raises as ``record_reading``."""
    return store.append_retraction(case.case_id, reading_id, case.revision, why)


def record_readings(store: CaseStore, case: Case, readings: Iterable[Reading]) -> Case:
    """Store several readings, all or none. Raises as ``record_reading``."""
    loop = build_bench(case.site).loop
    return store.append_readings(case.case_id, [complete_reading(loop, reading) for reading in readings], case.revision)


def correct_reading(store: CaseStore, case: Case, old_id: str, reading: Reading) -> Case:
    """Take a reading back and store another in its place, in one act; the old one stays in the record.

    Raises as ``record_reading``; a value that is not understood leaves the old reading standing.
    """
    whole = complete_reading(build_bench(case.site).loop, reading)
    return store.append_correction(case.case_id, old_id, whole, case.revision, "corrected")


@dataclass(frozen=True, slots=True)
class RepairNote:
    """What there is to say of a repair beside what was done; each as ``Repair`` has it.

    ``suspected`` are the faults that it was for, ``saw`` and ``found`` what was seen there, ``own_words`` what was
    typed of it; ``now`` is the symptom since, where it is another. ``foreseen`` is what a meter should show of what
    comes out, see ``foresee_repair``.
    """

    suspected: tuple[str, ...] = ()
    saw: Saw = ""
    found: str = ""
    own_words: str = ""
    now: str = ""
    foreseen: tuple[str, ...] = ()


def record_repair(
    store: CaseStore,
    case: Case,
    repair_text: str,
    *,
    cured: bool,
    note: RepairNote | None = None,
    suggestion: Suggestion | None = None,
) -> Case:
    """Store that a repair was made, a class as ``write_class`` tells it or plain words, and whether it cured.

    ``suggestion`` is the step that was suggested at that moment, see ``build_suggestion``. Raises NotFoundError for a
    symptom that is not known.
    """
    note = note or RepairNote()
    if note.now:
        find_symptom(note.now)
    repair = Repair(
        repair_text, datetime.now(UTC), cured, found=note.found, now="" if cured else note.now,
        suspected=note.suspected, saw=note.saw, own_words=note.own_words, foreseen=note.foreseen,
    )  # fmt: skip
    told = (
        replace(suggestion, outcome="followed" if suggestion.what == repair_text else "other") if suggestion else None
    )
    return store.append_repair(case.case_id, repair, case.revision, told)


def note_seen(store: CaseStore, case: Case, number: int, saw: Saw, found: str = "") -> Case:
    """Note what was seen at a repair by whoever made it, said anew or taken back; ``number`` counts from 0.

    ``found`` is which of the suspected faults it was, or something ``other`` in plain words; it may be left out.

    Raises
    ------
    NotFoundError
        The case has no such repair, or that was not suspected there.
    """
    repair = find_repair(case, number)
    if saw == "as_suspected" and (not repair.suspected or (found and found not in repair.suspected)):
        raise NotFoundError(f"{found[:40]!r} was not suspected there")
    told = found if saw in {"as_suspected", "other"} else ""
    return store.append_repair(case.case_id, replace(repair, saw=saw, found=told), case.revision)


def deny_cure(store: CaseStore, case: Case) -> Case:
    """Note that the last cured repair did not cure after all.

    What was measured again since was read of a loop thought sound; now it is a reading of the complaint like any other.
    Where the case says so already - a second tap, or somebody else was faster - nothing is added.
    """
    cured = [r for r in case.repairs if r.cured]
    if not cured:
        raise NotFoundError("no repair of this case is noted as cured")
    begun, now = cured[-1].done_at, datetime.now(UTC)
    since = [r for r in case.readings if r.condition == "absent" and r.taken_at and r.taken_at >= begun]
    anew = (replace(r, condition="present", reading_id=build_reading_id()) for r in since)
    put = (Corrected(r.reading_id, new, now, "it had not cured") for r, new in zip(since, anew, strict=True))
    denied = replace(cured[-1], cured=False)
    return store.append_act(case.case_id, (denied, *put), case.revision, lambda current: denied in current.repairs)


def take_back_repair(store: CaseStore, case: Case, number: int) -> Case:
    """Note that it is not known whether a repair cured, or that it was noted by mistake; ``number`` counts from 0.

    It stays in the record; neither the tests after it nor the search build on it any longer.

    Raises
    ------
    NotFoundError
        The case has no such repair.
    """
    return store.append_repair(case.case_id, replace(find_repair(case, number), cured=None), case.revision)


def find_repair(case: Case, number: int) -> Repair:
    """Return a repair of a case by its number, from 0. Raises NotFoundError where it has none."""
    if not 0 <= number < len(case.repairs):
        raise NotFoundError(f"this case has no repair number {number + 1}")
    return case.repairs[number]


def close_case(store: CaseStore, case: Case, closing: Closing, *, told: str = "", note: str = "", by: str = "") -> Case:
    """Close a case, and keep when, by whom, and who was told.

    Raises
    ------
    CaseError
        Something still stands lifted, bridged or off and the case is not left impaired; or it is called mended
        without a repair that cured and every one of its tests; or right, while volts stand that no loop has.
    """
    loop = build_loop(case.site)
    if closing in RIGHT and list_beyond(case, loop):
        raise CaseError(
            "volts were read that nothing on this loop can give", hint="have it made safe, and measure again"
        )
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


def come_back(store: CaseStore, case: Case) -> Case:
    """Note that somebody goes on with an open case on another visit: its first questions come anew."""
    given = Acknowledgement(COME_BACK, datetime.now(UTC))
    return store.append_acknowledgement(case.case_id, given, case.revision)


def put_back(store: CaseStore, case: Case, measurement: Measurement) -> Case:
    """Note that what a measurement disturbed is back as it was."""
    given = Acknowledgement(name_disturbance(measurement), datetime.now(UTC))
    return store.append_acknowledgement(case.case_id, given, case.revision)
