"""What a case means: its loop, its readings as understood, the diagnosis, and what still stands disturbed."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache

from diagnostics.cases import (
    Case,
    Reading,
    parse_meter,
)
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
from diagnostics.reasoning import Diagnosis, Question, Taken, diagnose, list_hypotheses
from diagnostics.trees import as_policy, find_guide
from diagnostics.units import OVER, format_quantity
from diagnostics.wiring import Loop, Site, build_loop

from .guidance import Guidance, build_guidance, build_usual_guidance, find_guide_answers, follows_guide
from .marks import BACK, find_skipped


@dataclass(frozen=True, slots=True)
class Assessment:
    """A case and what it means: the loop, the readings as understood, the diagnosis, and the guide where it leads."""

    case: Case
    loop: Loop
    taken: tuple[Taken, ...]
    diagnosis: Diagnosis
    guidance: Guidance | None = None


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


def assess_case(case: Case, *, guided: bool = False, usual: bool = False) -> Assessment:
    """Return what a case means now; ``guided`` lets the finding guide of the complaint lead, where there is one.

    ``usual`` takes what the guide asks or says besides readings as on a usual day; else it waits for a word.

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
    guide = find_guide(case.symptom) if guided and follows_guide(case) else None
    policy = None if guide is None else as_policy(guide, bench, find_guide_answers(case, guide))
    diagnosis = diagnose(bench, question, policy)
    follow = build_usual_guidance if usual else build_guidance
    guidance = None if guide is None else follow(guide, bench, case, taken, diagnosis)
    return Assessment(case, bench.loop, taken, diagnosis, guidance)


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


def find_measurement(loop: Loop, key: str) -> Measurement | None:
    """Return the measurement of this loop that a key names, or None."""
    return next((m for m in list_measurements(loop) if m.key == key), None)


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


def list_disturbed(assessment: Assessment) -> tuple[Measurement, ...]:
    """Return what this visit asked to be lifted, bridged or taken off, once each, and has not seen put back since."""
    return tuple(m for m, _ in _find_disturbed(assessment))


def find_out_of_service(assessment: Assessment) -> datetime | None:
    """Return since when something stands lifted, bridged or off, or None."""
    return min((since for _, since in _find_disturbed(assessment) if since), default=None)


def _find_disturbed(assessment: Assessment) -> list[tuple[Measurement, datetime | None]]:
    case = assessment.case
    back = {a.caution: a.at for a in case.acknowledged if a.caution.startswith(BACK)}
    counted = [r for r in case.readings if r.condition != "absent"]
    found: dict[str, tuple[Measurement, datetime | None]] = {}
    for taken, reading in zip(assessment.taken, counted, strict=True):
        mark = name_disturbance(taken.measurement)
        since = reading.taken_at
        put_back_since = mark in back and (since is None or back[mark] >= since)
        if "put_back" in taken.measurement.cautions and not put_back_since:
            found.setdefault(mark, (taken.measurement, since))
    return list(found.values())


def name_disturbance(m: Measurement) -> str:
    """Return the name under which it is noted that what a measurement disturbed is back: both polarities share one."""
    return f"{BACK}{m.kind} {m.at}"
