"""The use cases: the one place that joins the engine and the store."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from diagnostics.cases import Case, CaseStore, Reading, parse_meter
from diagnostics.faults import CONTEXTS, Context
from diagnostics.readings import Bench, Measurement, Meter, parse_measurement, parse_value, read_table
from diagnostics.reasoning import Diagnosis, Policy, Question, Taken, diagnose, find_symptom, list_hypotheses
from diagnostics.wiring import Loop, Site, build_loop


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
