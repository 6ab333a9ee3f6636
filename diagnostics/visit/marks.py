"""What the record of a case says about the visit: where it stands, what is left out, which clock runs."""

from datetime import UTC, datetime, timedelta
from typing import Final, Literal

from diagnostics.cases import (
    Acknowledgement,
    Case,
    Reading,
)
from diagnostics.readings import Measurement, read_table

Stage = Literal[
    "is_it_real", "outputs", "tell_people", "evidence_first", "for_us", "describe", "complaint", "work", "proof",
    "closing", "closed",
]  # fmt: skip
# Acknowledged once per visit, in this order, before any measurement (design page, section 10).
SAFETY: Final[tuple[Stage, ...]] = ("is_it_real", "outputs", "tell_people", "evidence_first")
# Steps of a visit that leave nothing else in the record are kept as acknowledgements of these names.
FOR_US, DESCRIBED, TOLD, TESTED = "for_us", "described", "complaint_told", "tested_after_repair"
NOT_MONITORED = "not_monitored"
SKIP, UNSKIP, CLOCK, ON_TEST, DEMO, BACK, ABOUT = (
    "skip ",
    "unskip ",
    "clock ",
    "on_test_until ",
    "invented ",
    "put_back ",
    "about ",
)
# Who is named for a reading that nobody took: it was told with the complaint, where and as what that was met.
WITH_COMPLAINT: Final = "told with the complaint"
# An answer that says "nothing has come", by kind of measurement: it counts only once the settling time is over.
_NOTHING_YET: Final = {
    "panel_shows": ("normal",),
    "known_resistor": ("normal",),
    "head_off": ("normal",),
    "functional_test": ("no_report",),
    "earth_lamp": ("right",),
    **dict.fromkeys(("earth_lifted", "earth_opened"), ("earth_trouble",)),
    "lamp": ("dark",),
    "heads_swapped": ("neither_place",),
    "overnight": ("steady",),
}


_SLOW: Final = frozenset({"panel_shows", "known_resistor", "head_off", "earth_lamp", "earth_lifted", "earth_opened"})
_STANDING: Final = {"constant_trouble": "trouble", "alarm_with_nothing_there": "alarm", "will_not_reset": "alarm"}


# Whoever goes on after a longer break does so on another visit: safety comes first again. Invented.
LONGEST_BREAK: Final = timedelta(hours=8)
_CLOCKS_APART: Final = timedelta(minutes=5)  # of two servers; invented
# What is asked anew in a visit to a case that was opened again; the earlier answers stay in the record.
_EACH_VISIT: Final = frozenset({*SAFETY, NOT_MONITORED})
_EACH_VISIT_BEGINS: Final = (ON_TEST, CLOCK)


def is_asked_anew(caution: str) -> bool:
    """Return whether an acknowledgement of this name holds for the visit only in which it was given."""
    return caution in _EACH_VISIT or caution.startswith(_EACH_VISIT_BEGINS)


def was_told(reading: Reading) -> bool:
    """Return whether a reading was told with the complaint: nobody of this visit stood there or took anything off."""
    return reading.by == WITH_COMPLAINT


def list_accepted(case: Case) -> tuple[Acknowledgement, ...]:
    """Return the acknowledgements that hold now: those of earlier visits only where nothing is asked anew.

    One of a moment that is still to come was given by a wrong clock, and nobody knows when.
    """
    latest = datetime.now(UTC) + _CLOCKS_APART
    some = case.acknowledged
    return tuple(a for a in some if not is_asked_anew(a.caution) or (a.at <= latest and case.is_of_visit(a.at)))


def is_accepted(case: Case, name: str) -> bool:
    """Return whether a caution or a step of the visit was accepted, and holds now."""
    return any(a.caution == name for a in list_accepted(case))


def find_stage(case: Case) -> Stage:
    """Return where a visit stands; everything is read from the record, so that a reload loses nothing.

    A case that was opened again is visited anew: what must come before any measurement comes before it again.
    """
    done = {a.caution for a in list_accepted(case)}
    if case.closing:
        return "closed"
    steps: tuple[tuple[Stage, str], ...] = (
        *((s, str(s)) for s in SAFETY),
        ("for_us", FOR_US),
        ("describe", DESCRIBED),
        ("complaint", TOLD),
    )
    missing = next((stage for stage, name in steps if name not in done), None)
    if missing is not None:
        return missing
    if not any(r.cured for r in case.repairs):
        return "work"
    return "closing" if is_tested(case) else "proof"


def find_break(case: Case, now: datetime | None = None) -> datetime | None:
    """Return what was noted last before an open case was left for so long that whoever goes on is on another visit.

    None where that is not so, or somebody has said so since. A case for practice is no visit.
    """
    if case.closing or find_hidden(case) is not None:
        return None
    readings = (*case.readings, *(r.reading for r in case.retracted))
    some = (
        *(r.taken_at for r in readings), *(r.retracted_at for r in case.retracted), *(r.done_at for r in case.repairs),
        *(a.at for a in case.acknowledged), *(g.at for g in case.guide_answers), *(t.noted_at for t in case.tests),
        *case.visits_begun,
    )  # fmt: skip
    now = now or datetime.now(UTC)
    here = sorted(at for at in some if at is not None and at <= now and case.is_of_visit(at))
    until = (*here[1:], now)
    return next((at for at, then in zip(here, until, strict=False) if then - at > LONGEST_BREAK), None)


def is_described(case: Case) -> bool:
    """Return whether somebody has described the site of a case."""
    return any(a.caution == DESCRIBED for a in case.acknowledged)


def is_told(case: Case) -> bool:
    """Return whether somebody has told the complaint of this visit; that none of the list fits is told as well."""
    return any(a.caution == TOLD for a in case.acknowledged)


def is_tested(case: Case) -> bool:
    """Return whether a repair cured and the list of tests after it is through."""
    cured = [r.done_at for r in case.repairs if r.cured]
    tested = [a.at for a in case.acknowledged if a.caution == TESTED]
    return bool(cured and tested) and max(tested) >= cured[-1]


def is_monitored(case: Case) -> bool:
    """Return whether a station may receive what this system sends: nobody said that there is none."""
    return not is_accepted(case, NOT_MONITORED)


def find_test_end(case: Case) -> datetime | None:
    """Return until when the system is on test, or None."""
    ends = [a.caution.removeprefix(ON_TEST) for a in list_accepted(case) if a.caution.startswith(ON_TEST)]
    return datetime.fromisoformat(ends[-1]) if ends else None


def list_test_ends(case: Case) -> tuple[datetime, ...]:
    """Return until when the system was on test last in each visit that said so, oldest first."""
    begun = case.visits_begun
    ends: dict[int, datetime] = {}
    for a in case.acknowledged:
        if a.caution.startswith(ON_TEST):
            ends[sum(at <= a.at for at in begun)] = datetime.fromisoformat(a.caution.removeprefix(ON_TEST))
    return tuple(ends.values())


def count_left_s(end: datetime) -> float:
    """Return the seconds from now to a moment; 0 when it is past."""
    return max(0.0, (end - datetime.now(UTC)).total_seconds())


def find_skipped(case: Case) -> frozenset[str]:
    """Return the keys of the measurements that this visit leaves out."""
    left_out: set[str] = set()
    for a in case.acknowledged:
        if a.caution.startswith(SKIP):
            left_out.add(a.caution.removeprefix(SKIP))
        elif a.caution.startswith(UNSKIP):
            left_out.discard(a.caution.removeprefix(UNSKIP))
    return frozenset(left_out)


def find_about(case: Case) -> str:
    """Return the zone of the loop that the complaint is about, or an empty text: one loop, or nobody said."""
    told = [a.caution.removeprefix(ABOUT) for a in case.acknowledged if a.caution.startswith(ABOUT)]
    zones = {loop.zone for loop in case.site.loops}
    return told[-1] if told and len(zones) > 1 and told[-1] in zones else ""


def find_wait_s(case: Case, measurement: Measurement, now: datetime | None = None) -> float | None:
    """Return how many seconds of the settling time are left (0: it is over), or None when no clock was started."""
    since = [r.taken_at for r in case.readings if r.taken_at and _names(r, measurement)]
    begun = [a.at for a in list_accepted(case) if a.caution == CLOCK + measurement.key]
    begun = [at for at in begun if not since or at > max(since)]
    if not begun:
        return None
    gone_s = ((now or datetime.now(UTC)) - begun[-1]).total_seconds()
    return max(0.0, measurement.data.settling - gone_s)


def is_settled_already(case: Case, measurement: Measurement) -> bool:
    """Return whether what the panel shows needs no waiting for: nobody has changed anything since this visit began.

    Nor does anything stand as an earlier visit left it, to be put back first.
    """
    if measurement.kind not in {"panel_shows", "earth_lamp"}:
        return False
    changing = {name for name, kind in read_table().kinds.items() if {"put_back", "outputs"} & set(kind.cautions)}
    back = max((a.at for a in case.acknowledged if a.caution.startswith(BACK)), default=None)
    some = [r for r in case.readings if r.measurement in changing or r.mode not in {"", "standby"}]
    here = any(case.is_of_visit(r.taken_at) for r in some)
    stands = any(back is None or (r.taken_at is not None and r.taken_at > back) for r in some)
    return not here and not stands and not any(case.is_of_visit(r.done_at) for r in case.repairs)


def _names(reading: Reading, m: Measurement) -> bool:
    return (reading.measurement, reading.red, reading.black, reading.at) == (m.kind, m.red, m.black, m.at)


def is_too_early(case: Case, measurement: Measurement, value: float | str) -> bool:
    """Return whether an answer says that nothing has come while it still may: it counts once the clock is over."""
    return bool(find_wait_s(case, measurement)) and value in _list_nothing_yet(case, measurement)


def is_unclocked(case: Case, measurement: Measurement, value: float | str) -> bool:
    """Return whether the panel shows what it showed before, and nobody has said how long that was waited for.

    In an invented case there is nothing to wait for.
    """
    if measurement.kind not in _SLOW or find_hidden(case) is not None or is_settled_already(case, measurement):
        return False
    waited = find_wait_s(case, measurement) is not None
    return not waited and value in _list_nothing_yet(case, measurement)


def _list_nothing_yet(case: Case, m: Measurement) -> tuple[str, ...]:
    """Return the answers that say "nothing has come": those of a sound loop, and what the panel showed before."""
    shown = [r for r in case.readings if r.measurement == "panel_shows" and r.condition != "absent"]
    before = (shown[-1].value if shown else _STANDING.get(case.symptom, ""),) if m.kind == "head_off" else ()
    return (*_NOTHING_YET.get(m.kind, ()), *before)


def find_hidden(case: Case) -> str | None:
    """Return the fault text that an invented case hides, or None for a case of real work."""
    marks = (a.caution.removeprefix(DEMO) for a in case.acknowledged if a.caution.startswith(DEMO))
    return next(marks, None)
