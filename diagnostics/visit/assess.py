"""What a case means: its loop, its readings as understood, the diagnosis, and what still stands disturbed."""

from bisect import bisect_left
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from functools import lru_cache
from itertools import accumulate

from diagnostics.cases import (
    Case,
    Condition,
    Misreading,
    Reading,
    list_misreadings,
    parse_meter,
    understand_value,
)
from diagnostics.faults import CONTEXTS, SIGNS, Context, parse_faults
from diagnostics.readings import (
    AS_IT_SHOULD_BE,
    Bench,
    Measurement,
    Meter,
    find_look_place,
    list_measurements,
    list_tokens,
    parse_measurement,
    read_table,
    show_value,
)
from diagnostics.reasoning import Diagnosis, Question, Stage, Taken, diagnose, list_hypotheses, trace_belief
from diagnostics.trees import as_policy
from diagnostics.units import OVER, format_quantity
from diagnostics.wiring import Loop, Site, build_loop

from .beyond import list_beyond
from .disturbed import find_disturbances
from .guidance import (
    Guidance,
    build_guidance,
    build_usual_guidance,
    find_case_guide,
    find_guide_answers,
    follows_guide,
)
from .ladder import OnTheSameLadder
from .listener import find_left_out
from .marks import CLOCK, ON_TEST, find_about, was_told
from .same import once

_WHENEVER = datetime(2000, 1, 1, tzinfo=UTC)
_AT_EARLIER_VISIT = datetime(1999, 1, 1, tzinfo=UTC)
# Sights offered by name at one place: at least so many, at most so many, and between them as few as hold this share.
# What is rarer there is one more tap away.
_FEW_SIGHTS, _MOST_SIGHTS, _SIGHTS_SHARE = 5, 10, 0.99


@dataclass(frozen=True, slots=True)
class Assessment:
    """A case and what it means: the loop, the readings as understood, the diagnosis, and the guide where it leads.

    ``beside`` is what else is worth reading at the place of the next step, when that is at a detector. ``unsafe`` are
    readings of volts that no source of the loop has: while they stand nothing is next, whoever leads.
    """

    case: Case
    loop: Loop
    taken: tuple[Taken, ...]
    diagnosis: Diagnosis
    beside: tuple[Measurement, ...] = ()
    guidance: Guidance | None = None
    unsafe: tuple[Reading, ...] = ()

    @property
    def contexts(self) -> tuple[Context, ...]:
        """Return what is known of the loop's past, as far as the catalogue knows it."""
        return _check_contexts(self.case.contexts)

    @property
    def misread(self) -> tuple[Misreading, ...]:
        """Return the readings that this program would read otherwise than was stored; what was stored counts."""
        return _list_misread(self)


@once
def _list_misread(assessment: Assessment) -> tuple[Misreading, ...]:
    return list_misreadings(assessment.case, assessment.loop)


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


def build_case_bench(case: Case) -> Bench:
    """Return the bench of a case: its site, its meter, the loop that the complaint is about first."""
    meter = parse_meter(case.meter) if case.meter else None
    return build_bench(case.site, meter).look_at(find_about(case))


def build_question(case: Case, bench: Bench) -> Question:
    """Return what a case asks of the reasoning, on its own bench."""
    absent = [r for r in case.readings if r.condition == "absent"]
    counted = [r for r in case.readings if r.condition != "absent"]
    stood = counted[-1] if counted and not was_told(counted[-1]) else None  # else somebody has just arrived
    is_here = stood is not None and case.is_of_visit(case.readings[-1].taken_at)
    taken = tuple(understand(bench.loop, r) for r in case.readings if r.condition != "absent")
    symptom, symptom_after = _find_complaints(case)
    return Question(
        contexts=_check_contexts(case.contexts),
        symptom=symptom,
        taken=taken,
        can=None if case.can is None else frozenset(case.can),
        standing_at=taken[-1].measurement.place if taken and is_here else "panel",
        tried=_list_tried(case),
        tried_after=_count_before(case),
        symptom_after=symptom_after,
        skipped=find_left_out(case, bench.loop),
        baseline=tuple(understand(bench.loop, r) for r in (*case.baseline.readings, *absent)),
    )


def assess_case(case: Case, *, guided: bool = False, usual: bool = False) -> Assessment:
    """Return what a case means now; ``guided`` lets the finding guide of the complaint lead, where there is one.

    ``usual`` takes what the guide asks or says besides readings as on a usual day; else it waits for a word. An answer
    that stops the guide, real smoke say, stops everything, whoever leads: nothing is next until it is answered anew.

    Readings taken while the complaint was absent show the loop as it is when nothing is wrong: like those of an earlier
    visit they say what is right here, and blame nobody. One that does not fit the sound loop is left out.
    """
    bench = build_case_bench(case)
    question = build_question(case, bench)
    taken = question.taken
    guide = find_case_guide(case) if guided or case.guide_answers else None
    leads = guided and follows_guide(case)
    policy = as_policy(guide, bench, find_guide_answers(case, guide)) if guide is not None and leads else None
    climbing = OnTheSameLadder(policy)
    diagnosis = diagnose(bench, question, climbing)
    follow = build_usual_guidance if usual else build_guidance
    guidance = None if guide is None else follow(guide, bench, case, taken, diagnosis)
    unsafe, stops = list_beyond(case, bench.loop), guidance is not None and guidance.stops
    guidance = guidance if leads or stops else None
    if stops or unsafe:
        stopped = replace(diagnosis, next=None, next_class=None, expected=())
        return Assessment(case, bench.loop, taken, stopped, (), guidance, unsafe)
    return Assessment(case, bench.loop, taken, diagnosis, climbing.beside, guidance)


def trace_case(case: Case) -> tuple[Stage, ...]:
    """Return what was believed after the complaint alone, then after each reading that counts, in the order taken."""
    bench = build_case_bench(case)
    return trace_belief(bench, build_question(case, bench))


def tell_meaning(case: Case) -> str:
    """Return a text that is the same for cases that mean the same to ``assess_case``.

    Named is what does *not* count, so that a part of the record that is new counts until somebody says otherwise.
    """
    silent = (CLOCK, ON_TEST)

    def tell(at: datetime | None) -> datetime:
        return _WHENEVER if case.is_of_visit(at) else _AT_EARLIER_VISIT

    told = replace(
        case, case_id="", revision=0, site_text="", described_at=None, earlier_sites=(), notes="", closing="",
        retracted=(), suggestions=(), tests=(), leaving=None, earlier_closings=(),
        readings=tuple(replace(_strip(r), taken_at=tell(r.taken_at)) for r in case.readings),
        repairs=tuple(
            replace(
                r, done_at=_WHENEVER, found="", suspected=(), saw="right" if r.saw == "right" else "", own_words="",
                foreseen=(), out=(), diode=None,
            ) for r in case.repairs
        ),
        acknowledged=tuple(
            replace(a, at=tell(a.at)) for a in case.acknowledged if not a.caution.startswith(silent)
        ),
        guide_answers=tuple(replace(a, at=tell(a.at)) for a in case.guide_answers),
        baseline=replace(case.baseline, case_id="", readings=tuple(_strip(r) for r in case.baseline.readings)),
    )  # fmt: skip
    return repr((told, _count_before(case)))  # which readings a repair in vain stands between counts as well


def _strip(r: Reading) -> Reading:
    """Leave of a reading what it means: set-up, what was understood, and whether it counts."""
    condition: Condition = "absent" if r.condition == "absent" else ""
    value = "" if r.understood else r.value
    return replace(r, value=value, condition=condition, taken_at=None, by="", reading_id="", site_revision=1)


def _check_contexts(words: Sequence[str]) -> tuple[Context, ...]:
    return tuple(c for c in (*CONTEXTS, *SIGNS) if c in words)


def _list_tried(case: Case) -> tuple[tuple[str, str], ...]:
    """Return what was put right in vain, last what was last; before that what was found right and left as it was."""
    failed = [r for r in case.repairs if r.cured is False]
    return tuple(split_class(r.fault) for r in sorted(failed, key=lambda r: r.is_in_vain))


def _find_complaints(case: Case) -> tuple[str | None, str | None]:
    """Return what was complained of before the last repair that did not cure, and since; None: the same, or unsaid."""
    failed = [r.now for r in case.repairs if r.is_in_vain]
    before = next((now for now in reversed(failed[:-1]) if now), case.symptom) or None
    since = (failed[-1] if failed else "") or None
    return before, None if since == before else since


def _count_before(case: Case) -> int | None:
    """Return how many of the readings that count were taken before the last repair that did not cure, or None."""
    failed = [r.done_at for r in case.repairs if r.is_in_vain]
    counted = [r.taken_at for r in case.readings if r.condition != "absent"]
    if not failed or any(at is None for at in counted):
        return None
    return sum(at is not None and at < max(failed) for at in counted)


def split_class(text: str) -> tuple[str, str]:
    """Return remedy and spot of a repair class as a case keeps it; plain words are a remedy without a spot."""
    remedy, _, spot = text.partition("@")
    return remedy, spot


def write_class(repair_class: tuple[str, str]) -> str:
    """Return a repair class as a case keeps it: ``remedy@spot``."""
    return "@".join(repair_class)


def understand(loop: Loop, reading: Reading) -> Taken:
    """Return a reading as understood: as it was stored, or, where nobody kept that, as typed.

    Raises
    ------
    FaultError, QuantityError
        It names no measurement of this loop, or its value is not one.
    """
    measurement = parse_measurement(reading.measurement, loop, reading.where)
    return Taken(measurement, understand_value(measurement, loop, reading))


def build_reading(measurement: Measurement, value: str, reading_id: str, by: str = "") -> Reading:
    """Return a reading of a suggested measurement, ready to be stored."""
    return Reading(
        measurement=measurement.kind, value=value, red=measurement.red, black=measurement.black, at=measurement.at,
        mode=measurement.mode.text, reading_id=reading_id, by=by,
    )  # fmt: skip


def find_measurement(loop: Loop, key: str) -> Measurement | None:
    """Return the measurement of this loop that a key names, or None."""
    return next((m for m in list_measurements(loop) if m.key == key), None)


def list_likely_answers(assessment: Assessment, measurement: Measurement) -> tuple[str, ...]:
    """Return the words that a look at this place will nearly always find, never only one or two; all of other kinds."""
    tokens = list_tokens(measurement, assessment.loop)
    if measurement.kind != "look":
        return tokens
    weight: dict[str, float] = {}
    for candidate in assessment.diagnosis.candidates:
        for fault in candidate.faults:
            if find_look_place(fault, assessment.loop) == measurement.at:
                sees = fault.data.sees
                weight[sees.token] = weight.get(sees.token, 0.0) + candidate.probability * sees.share
    likely = {AS_IT_SHOULD_BE, *_list_likely(weight)}
    return tuple(t for t in tokens if t in likely)


def _list_likely(weight: Mapping[str, float]) -> list[str]:
    """Return the likeliest words, as few as hold nearly all of the weight."""
    ranked = sorted(weight, key=lambda token: (-weight[token], token))
    held = list(accumulate(weight[token] for token in ranked))
    enough = bisect_left(held, _SIGHTS_SHARE * sum(weight.values())) + 1
    return ranked[: min(max(enough, _FEW_SIGHTS), _MOST_SIGHTS)]


def simulate_reading(loop: Loop, hidden: str, measurement: Measurement) -> str:
    """Return what a measurement would show, as a person would type it, if this fault were in the loop; "": none.

    Raises
    ------
    FaultError
        The loop cannot have that fault.
    """
    bench = _build_hidden(loop)(hidden)
    (forecast,) = bench.forecast_all([measurement])
    if forecast.chance is not None:
        return forecast.tokens[int(forecast.chance[0].argmax())]
    if forecast.mean is None:
        raise TypeError("a forecast has either numbers or words")
    shown = show_value(float(forecast.mean[0]), "ohm" if measurement.unit == "ohm" else "V", bench.meter)
    return "OL" if shown == OVER else format_quantity(shown, measurement.unit, 4)


@once
def _build_hidden(loop: Loop) -> Callable[[str], Bench]:
    """Return what builds the bench of this loop with one hidden fault, each once."""
    return lru_cache(maxsize=4)(lambda hidden: Bench(loop, [parse_faults(hidden, loop) if hidden else ()]))


def list_disturbed(assessment: Assessment) -> tuple[Measurement, ...]:
    """Return what this visit asked to be lifted, bridged or taken off, once each, and has not seen put back since."""
    return tuple(d.measurement for d in find_disturbances(assessment.case, assessment.loop))


def find_out_of_service(assessment: Assessment) -> datetime | None:
    """Return since when something stands lifted, bridged or off, or None."""
    standing = find_disturbances(assessment.case, assessment.loop)
    return min((d.since for d in standing if d.since), default=None)
