"""Practice: a fault that a trainer hides in a loop, what somebody made of it, and how the model would have gone.

What a hidden fault shows is what the model forecasts of it, without slips; minutes are those of the table of
measurements and remedies, ways included, for whoever works. The tests after a repair are the same for all.
"""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

from diagnostics.cases import Case, CaseStore, Reading
from diagnostics.errors import FaultError, QuantityError
from diagnostics.faults import (
    CONTEXTS,
    TOO_MANY_OHM,
    Context,
    Fault,
    list_faults,
    parse_fault,
    parse_faults,
    read_catalogue,
)
from diagnostics.readings import Bench, Measurement, parse_value
from diagnostics.reasoning import NOTHING, SYMPTOMS, Question, Taken, conclude, find_likely
from diagnostics.units import parse_resistor
from diagnostics.wiring import Loop, Site

from .assess import build_bench, simulate_reading, split_class, understand
from .deeds import start_visit
from .marks import find_about, find_hidden, was_told

_MOST_STEPS, _MOST_REPAIRS = 40, 4


@dataclass(frozen=True, slots=True)
class Way:
    """How a hidden fault was gone after: readings, minutes without the tests after a repair, repairs in vain, an end.

    ``mended`` says whether all that was hidden is put right.
    """

    readings: int
    minutes: float
    in_vain: int
    mended: bool


def list_plantable(loop: Loop) -> dict[str, tuple[Fault, ...]]:
    """Return the faults that can be hidden in a loop, by kind: one for each place, of a middling value."""
    found: dict[str, dict[str, list[Fault]]] = {}
    for fault in list_faults(loop):
        found.setdefault(fault.kind, {}).setdefault(fault.place, []).append(fault)
    return {kind: tuple(some[len(some) // 2] for some in places.values()) for kind, places in found.items()}


def find_usual(site: Site, fault: Fault) -> Fault:
    """Return a fault of the same kind and place, of the value nearest to the middle that somebody complains of.

    The fault itself where it has no value, or nobody complains of any.
    """
    return fault if fault.value_ohm is None else _find_usual(site.model_dump_json(), fault)


@lru_cache(maxsize=64)
def _find_usual(site_json: str, fault: Fault) -> Fault:
    site = Site.model_validate_json(site_json)
    some = [f for f in list_faults(build_bench(site).loop) if (f.kind, f.place) == (fault.kind, fault.place)]
    middle_first = sorted(some, key=lambda f: abs(some.index(f) - len(some) // 2))
    return next((f for f in middle_first if list_complaints(site, f.text)), fault)


def list_complaints(site: Site, fault_text: str) -> tuple[str, ...]:
    """Return what somebody would complain of under a fault, and not on the sound loop; raises FaultError."""
    bench = build_bench(site)
    hidden = parse_faults(fault_text, bench.loop)
    some = Bench(bench.loop, [(), hidden], bench.meter).look_at(_find_zone(bench.loop, hidden))
    told = {name: find_likely(some, name) for name in SYMPTOMS}
    return tuple(name for name, (sound, faulty) in told.items() if faulty and not sound)


def plant_fault(store: CaseStore, case: Case, fault_text: str) -> Case:
    """Store a new case with a hidden fault: the site, the past and the complaint are those of ``case``.

    Raises
    ------
    FaultError
        The loop cannot have it, or nobody would complain of it so.
    """
    loop = build_bench(case.site).loop
    hidden = parse_faults(fault_text, loop)
    if case.symptom not in list_complaints(case.site, fault_text):
        raise FaultError(f"nobody would complain so of {fault_text}: {case.symptom or 'no complaint'}")
    return start_visit(store, case, ",".join(f.text for f in hidden), _find_zone(loop, hidden))


def parse_planted(kind: str, place: str, value: str, loop: Loop) -> Fault:
    """Return a fault of some kind at a place, with what was typed of its ohms.

    Raises
    ------
    FaultError
        The loop cannot have it.
    QuantityError
        What was typed is no resistance, or none that a fault can have; told without the names that files use.
    """
    typed = value.strip()
    if typed and not 0 < parse_resistor(typed) < TOO_MANY_OHM:
        raise QuantityError("a resistance above 0 Ω and below 1 GΩ is wanted", text=typed, unit="ohm")
    return parse_fault(f"{kind}{f'={typed}' if typed else ''}@{place}", loop)


def _find_zone(loop: Loop, hidden: Sequence[Fault]) -> str:
    """Return the zone of the loop that a fault is on, where there are several; empty for one, or for the panel's."""
    if len(loop.chains) < 2:
        return ""
    places = [part for fault in hidden for part in (fault.place, fault.place.partition(".")[0])]
    chains = [chain for place in places if (chain := loop.find_chain(place)) is not None]
    return chains[0].spec.zone if chains else ""


def list_left(case: Case, loop: Loop, more: Collection[tuple[str, str]] = ()) -> tuple[Fault, ...]:
    """Return what is hidden and not put right yet; ``more`` are repairs that are about to be told."""
    done = [split_class(r.fault) for r in case.repairs if r.saw != "right" and r.cured is not None]  # else taken back
    parts = {part for one in (*done, *more) for part in _split_parts(one)}
    return tuple(f for f in parse_faults(find_hidden(case) or "", loop) if f.repair_class not in parts)


def simulate_now(case: Case, loop: Loop, measurement: Measurement) -> str:
    """Return what an invented case would show now: what is hidden and not put right yet, or a sound loop."""
    return simulate_reading(loop, ",".join(f.text for f in list_left(case, loop)), measurement)


def _split_parts(repair: tuple[str, str]) -> Iterable[tuple[str, str]]:
    return zip(repair[0].split(" + "), repair[1].split(" + "), strict=False)


def count_own_way(case: Case) -> Way:
    """Return how whoever works at a case with a hidden fault has gone so far.

    What a repair in plain words was of nobody can tell: it has no minutes, and is none of a sound part.
    """
    loop = build_bench(case.site).loop
    searched = (r for r in case.readings if not was_told(r) and not _is_of_tests(case, r))
    taken = [understand(loop, r).measurement for r in searched]
    minutes, in_vain, standing_at = 0.0, 0, "panel"
    for m in taken:
        minutes, standing_at = minutes + m.find_minutes(standing_at), m.place
    hidden = {f.repair_class for f in parse_faults(find_hidden(case) or "", loop)}
    for repair in case.repairs:
        parts = set(_split_parts(split_class(repair.fault)))
        if repair.saw != "right" and repair.cured is not None:
            minutes += _find_minutes(parts)
            in_vain += _is_known(parts) and not parts & hidden
    return Way(len(taken), minutes, in_vain, not list_left(case, loop))


def _is_of_tests(case: Case, reading: Reading) -> bool:
    """Return whether a reading was taken to test a repair that cured: of a loop thought sound, and after it."""
    cured = [r.done_at for r in case.repairs if r.cured]
    return bool(cured and reading.taken_at and reading.condition == "absent" and reading.taken_at >= min(cured))


def find_model_way(case: Case) -> Way:
    """Return how the model goes after what is hidden in a case, from its complaint on, with all means at hand."""
    return _rehearse(case, find_hidden(case) or "", find_about(case))


def rehearse_model(case: Case, fault_text: str) -> Way:
    """Return how the model would go after a fault that is not hidden yet; see ``plant_fault``. Raises FaultError."""
    loop = build_bench(case.site).loop
    return _rehearse(case, fault_text, _find_zone(loop, parse_faults(fault_text, loop)))


def _rehearse(case: Case, hidden: str, about: str) -> Way:
    contexts = tuple(c for c in CONTEXTS if c in case.contexts)
    return _find_model_way(case.site.model_dump_json(), hidden, case.symptom, contexts, about)


@lru_cache(maxsize=16)
def _find_model_way(site_json: str, hidden: str, symptom: str, contexts: tuple[Context, ...], about: str) -> Way:
    site = Site.model_validate_json(site_json)
    bench = build_bench(site).look_at(about)
    left = parse_faults(hidden, bench.loop)
    question, minutes, in_vain = Question(contexts, symptom), 0.0, 0
    for _ in range(_MOST_STEPS):
        found = conclude(bench, question)
        repair = found.settled or found.repair
        if repair is None and found.action is not None and found.action.measurement is not None:
            m = found.action.measurement
            minutes += m.find_minutes(question.standing_at)
            shown = simulate_reading(bench.loop, ",".join(f.text for f in left), m)
            taken = (*question.taken, Taken(m, parse_value(m, bench.loop, shown)))
            question = replace(question, taken=taken, standing_at=m.place)
            continue
        if repair is None or repair == NOTHING or len(question.tried) == _MOST_REPAIRS:
            break
        parts = set(_split_parts(repair))
        minutes += _find_minutes(parts)
        rest = tuple(f for f in left if f.repair_class not in parts)
        in_vain += len(rest) == len(left)
        if not rest:
            return Way(len(question.taken), minutes, in_vain, mended=True)
        question = question.go_on(repair, _find_since(question, list_complaints(site, ",".join(f.text for f in rest))))
        left = rest
    return Way(len(question.taken), minutes, in_vain, mended=False)


def _find_since(question: Question, complaints: Sequence[str]) -> str | None:
    """Return what somebody would complain of since a repair: the same as before where that is still so."""
    was = question.symptom_after or question.symptom
    return was if was in complaints or not complaints else complaints[0]


def _is_known(parts: Iterable[tuple[str, str]]) -> bool:
    """Return whether a repair is one of the catalogue, and not told in plain words."""
    return any(remedy in read_catalogue().remedies for remedy, _ in parts)


def _find_minutes(parts: Iterable[tuple[str, str]]) -> float:
    """Return the minutes of the remedies of a repair; what was told in plain words has none."""
    remedies = read_catalogue().remedies
    return sum(remedies[remedy].minutes for remedy, _ in parts if remedy in remedies)
