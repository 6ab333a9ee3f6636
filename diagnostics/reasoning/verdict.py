"""From what is known to what it means: candidates, groups, whether it is settled, what next and why - all as data."""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from diagnostics.faults import Context, read_catalogue
from diagnostics.readings import Bench, Faults, Forecast, Measurement, is_offered, list_measurements

from .belief import FITS, Belief, Taken, build_prior, keep_latest, tell_symptom, update
from .choose import Action, InformationPerMinute, Policy, Situation
from .groups import Group, find_groups, find_splitter

Array = NDArray[np.float64]
Index = NDArray[np.intp]
SETTLED = 0.95
KEPT_MASS = 0.9985
MOST_KEPT = 300
NOTHING = ("nothing", "nowhere")


@dataclass(frozen=True, slots=True)
class Question:
    """What is asked of the reasoning: context, symptom, readings in order, tools at hand, where one stands.

    ``tried`` are repair classes that were carried out and did not cure it. ``skipped`` are keys of measurements that
    this person cannot or will not do.
    """

    contexts: tuple[Context, ...] = ()
    symptom: str | None = None
    taken: tuple[Taken, ...] = ()
    can: frozenset[str] | None = None
    standing_at: str = "panel"
    tried: tuple[tuple[str, str], ...] = ()
    skipped: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class Candidate:
    """One hypothesis with its probability; an empty tuple of faults is *healthy*."""

    faults: Faults
    probability: float
    repair_class: tuple[str, str]


@dataclass(frozen=True, slots=True)
class SuspectGroup:
    """Hypotheses that no available measurement tells apart; ``split_by`` would, if one had the means."""

    members: tuple[Faults, ...]
    probability: float
    d_prime: float
    split_by: Measurement | None


@dataclass(frozen=True, slots=True)
class Expected:
    """What the next measurement would show under a group: a range (V or Ω) or a word with its chance."""

    group: int
    low: float | None = None
    high: float | None = None
    unit: str = ""
    state: str | None = None


@dataclass(frozen=True, slots=True)
class Contradiction:
    """Readings that do not fit together, and the one which, left out, mends it (its number in the order taken)."""

    reading: int
    fit: float


@dataclass(frozen=True, slots=True)
class Diagnosis:
    """The whole answer; ``candidates`` most probable first, ``settled`` is the repair class when it is settled."""

    candidates: tuple[Candidate, ...]
    not_modelled: float
    groups: tuple[SuspectGroup, ...]
    settled: tuple[str, str] | None
    contradiction: Contradiction | None
    next: Action | None
    next_class: tuple[str, str] | None
    expected: tuple[Expected, ...] = field(default=())


def diagnose(bench: Bench, question: Question, policy: Policy | None = None) -> Diagnosis:
    """Return what the readings mean and what to do next.

    ``bench`` must hold *healthy* first and then single faults, as ``list_hypotheses`` gives them.
    """
    taken = keep_latest(question.taken)
    belief, fits = _believe(bench, question, taken)
    contradiction = _find_contradiction(bench, question, taken, fits)
    repairs = [find_repair_class(h) for h in bench.hypotheses]
    kept = _keep(belief.probability)
    narrow = bench.narrow(kept)
    names = tuple(dict.fromkeys([NOTHING, *(repairs[n] for n in kept)]))
    offered = [m for m in list_measurements(bench.loop) if is_offered(m, question.can) and m.key not in question.skipped]
    forecasts = narrow.forecast_all(offered)
    groups, _ = find_groups(forecasts, belief.probability[kept], bench.meter)
    settled = _find_settled(belief, repairs, contradiction)
    situation = _build_situation(belief, kept, names, repairs, question, forecasts, contradiction, settled, bench)
    action = None if settled == NOTHING else (policy or InformationPerMinute()).choose(situation)
    return Diagnosis(
        _list_candidates(bench, belief, repairs),
        belief.not_modelled,
        tuple(_tell_group(g, narrow, forecasts, question) for g in groups if g.probability >= 0.005),
        settled,
        contradiction,
        action,
        None if action is None or action.repair is None else names[action.repair],
        _expect(action, groups, narrow, belief, kept),
    )


def find_repair_class(faults: Faults) -> tuple[str, str]:
    """Return remedy and spot of a hypothesis; two faults are named together."""
    if not faults:
        return NOTHING
    remedies, spots = zip(*(f.repair_class for f in faults), strict=True)
    return (" + ".join(remedies), " + ".join(spots))


def _believe(bench: Bench, question: Question, taken: Sequence[Taken]) -> tuple[Belief, list[float]]:
    belief = build_prior(bench, question.contexts)
    if question.symptom:
        belief = tell_symptom(belief, bench, question.symptom)
    belief = _after_repairs(belief, bench, question.tried)
    fits = []
    for forecast, reading in zip(bench.forecast_all([t.measurement for t in taken]), taken, strict=True):
        belief, fit = update(belief, forecast, reading.value, bench.meter)
        fits.append(fit)
    return belief, fits


def _after_repairs(belief: Belief, bench: Bench, tried: Sequence[tuple[str, str]]) -> Belief:
    """A repair that did not cure leaves a small share: it may have been done badly; nothing is forgotten."""
    if not tried:
        return belief
    left = np.array([0.05 if find_repair_class(h) in tried else 1.0 for h in bench.hypotheses])
    left[0] = 0.02
    weight = belief.probability * left
    total = weight.sum() + belief.not_modelled
    return Belief(weight / total, belief.not_modelled / total, belief.moved, belief.open)


def _find_contradiction(
    bench: Bench, question: Question, taken: Sequence[Taken], fits: Sequence[float]
) -> Contradiction | None:
    """Name the reading which, left out, lets all others fit best; None while every reading fits something."""
    if not fits or min(fits) >= FITS:
        return None
    best, worst_fit = len(taken) - 1, -1.0
    for n in range(len(taken)):
        rest = [t for m, t in enumerate(taken) if m != n]
        _, without = _believe(bench, question, rest)
        fit = min(without, default=1.0)
        if fit >= worst_fit:
            best, worst_fit = n, fit
    last = max(n for n, t in enumerate(question.taken) if t.measurement.key == taken[best].measurement.key)
    return Contradiction(last, min(fits))


def _keep(probability: Array) -> Index:
    """Return the numbers of the hypotheses that carry nearly all of the probability, most probable first."""
    order = np.argsort(-probability, kind="stable")
    mass = np.cumsum(probability[order]) / probability.sum()
    return order[: min(int(np.searchsorted(mass, KEPT_MASS)) + 1, MOST_KEPT, order.size)]


def _find_settled(
    belief: Belief, repairs: Sequence[tuple[str, str]], contradiction: Contradiction | None
) -> tuple[str, str] | None:
    if contradiction is not None:
        return None
    weight: dict[tuple[str, str], float] = {}
    for repair, probability in zip(repairs, belief.probability, strict=True):
        weight[repair] = weight.get(repair, 0.0) + float(probability)
    leader = max(weight, key=lambda r: weight[r])
    return leader if weight[leader] >= SETTLED else None


def _build_situation(  # noqa: PLR0913 - everything a policy may look at comes together here
    belief: Belief,
    kept: Index,
    names: tuple[tuple[str, str], ...],
    repairs: Sequence[tuple[str, str]],
    question: Question,
    forecasts: Sequence[Forecast],
    contradiction: Contradiction | None,
    settled: tuple[str, str] | None,
    bench: Bench,
) -> Situation:
    some = Belief(belief.probability[kept], belief.not_modelled, belief.moved[kept], belief.open[kept])
    done = {t.measurement.key for t in question.taken}
    again = question.taken[contradiction.reading].measurement if contradiction else None
    repeats = sum(t.measurement.key == again.key for t in question.taken) if again else 0
    again = again if again is not None and repeats < 2 and is_offered(again, question.can) else None
    fresh = tuple(f for f in forecasts if f.measurement.key not in done or (again and f.measurement.key == again.key))
    remedies = read_catalogue().remedies
    return Situation(
        some.probability,
        some.not_modelled,
        np.array([names.index(repairs[n]) for n in kept], dtype=np.intp),
        fresh,
        tuple(some.expect(f) for f in fresh),
        tuple(f.measurement.find_minutes(question.standing_at) for f in fresh),
        tuple(sum(remedies[r].minutes for r in name.split(" + ")) if name != NOTHING[0] else 0.0 for name, _ in names),
        None if settled is None else names.index(settled),
        again,
        remedies["hand_over"].minutes,
        bench.meter,
    )


def _list_candidates(bench: Bench, belief: Belief, repairs: Sequence[tuple[str, str]]) -> tuple[Candidate, ...]:
    order = np.argsort(-belief.probability, kind="stable")
    return tuple(Candidate(bench.hypotheses[n], float(belief.probability[n]), repairs[n]) for n in order)


def _tell_group(group: Group, narrow: Bench, forecasts: Sequence[Forecast], question: Question) -> SuspectGroup:
    members = tuple(narrow.hypotheses[n] for n in group.members)
    known = {f.measurement.key for f in forecasts}
    more = [m for m in list_measurements(narrow.loop) if m.key not in known]
    split = _split(group, narrow, more, question.standing_at) if len(members) > 1 and more else None
    return SuspectGroup(members, group.probability, group.d_prime, split)


def _split(group: Group, narrow: Bench, more: list[Measurement], standing_at: str) -> Measurement | None:
    """Return the cheapest measurement beyond those at hand that would split a group."""
    inside = narrow.narrow(np.array(group.members))
    whole = Group(tuple(range(len(group.members))), group.probability, group.d_prime)
    return find_splitter(whole, inside.forecast_all(more), narrow.meter, [m.find_minutes(standing_at) for m in more])


def _expect(
    action: Action | None, groups: Sequence[Group], narrow: Bench, belief: Belief, kept: Index
) -> tuple[Expected, ...]:
    """Return what the chosen measurement would show under each of the leading groups."""
    if action is None or action.measurement is None:
        return ()
    (forecast,) = narrow.forecast_all([action.measurement])
    some = Belief(belief.probability[kept], belief.not_modelled, belief.moved[kept], belief.open[kept])
    shift, spread = some.expect(forecast)
    found = []
    for n, group in enumerate(groups[:6]):
        members = np.array(group.members)
        if forecast.chance is not None:
            weight = some.probability[members]
            best = int(np.argmax(weight @ forecast.chance[members]))
            found.append(Expected(n, state=forecast.tokens[best]))
            continue
        if forecast.mean is None:
            continue
        mean = forecast.mean[members] + shift[members]
        low, high = mean - 2 * spread[members], mean + 2 * spread[members]
        found.append(Expected(n, float(low.min()), float(high.max()), action.measurement.unit))
    return tuple(found)
