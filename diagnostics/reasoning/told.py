"""From readings, complaint and repairs made so far to a belief, and to the reading that does not go with the rest."""

import math
from collections import Counter
from collections.abc import Callable, Sequence
from functools import partial

import numpy as np

from diagnostics.readings import Bench

from .answer import Contradiction, Question
from .baseline import tell_baseline
from .belief import (
    ANY_COMPLAINT,
    FITS,
    FITS_AGAIN,
    Belief,
    Taken,
    build_prior,
    keep_latest,
    rate_fit,
    rate_together,
    reweigh,
    tell_symptom,
    update,
)
from .pairs import BADLY_DONE, CLEARED, DOUBTED, build_doubles, tell_mended
from .repairs import find_repair_class
from .symptoms import rate_symptom


def weigh(bench: Bench, question: Question) -> tuple[Bench, Belief, Contradiction | None]:
    """Return the belief, the bench of what it is in, and the reading that does not go with the rest, if there is one.

    The bench is another where two faults at once were let in, which needs a reason.
    """
    taken = keep_latest(question.taken[find_split(question) :])
    belief, fits = _believe(bench, question, taken)
    contradiction = _find_contradiction(bench, question, taken, fits)
    if not question.one_fault and (contradiction is not None or belief.not_modelled >= DOUBTED):
        return _try_pairs(bench, question, taken, (belief, contradiction))
    return bench, belief, contradiction


def find_split(question: Question) -> int:
    """Return how many readings were taken before the last repair that did not cure; 0 where there was none."""
    if not question.tried or question.tried_after is None:
        return 0
    return question.tried_after


def _believe(bench: Bench, question: Question, taken: Sequence[Taken]) -> tuple[Belief, list[float]]:
    """Return the belief after all readings, and how well each fits what was plausible when it came and what is now."""
    belief = tell_baseline(build_prior(bench, question.contexts), bench, question.baseline)
    split = find_split(question)
    if question.tried and (split or question.symptom_after):
        before = _leave_out_same(keep_latest(question.taken[:split]), taken)
        rates = tuple(rate_symptom(bench, s) if s else None for s in (question.symptom, question.symptom_after))
        belief = tell_mended(belief, bench, question.contexts, question.tried, before, rates)
    else:
        belief = tell_symptom(belief, bench, question.symptom) if question.symptom else belief
        belief = _after_repairs(belief, bench, question.tried)
    return _follow(belief, bench, taken)


def _leave_out_same(before: Sequence[Taken], since: Sequence[Taken]) -> list[Taken]:
    """Leave out what was read again and is the same: it would count twice. What is other now shows what was mended."""
    again = {t.measurement.set_up: t.value for t in since}
    return [t for t in before if not is_same(t.value, again.get(t.measurement.set_up, ""))]


def is_same(one: float | str, other: float | str) -> bool:
    """Return whether a reading taken twice is the same: the same word, or numbers next to each other."""
    if isinstance(one, str) or isinstance(other, str):
        return one == other
    return math.isclose(one, other, rel_tol=0.05, abs_tol=0.1)


def _follow(
    belief: Belief, bench: Bench, taken: Sequence[Taken], *, in_hindsight: bool = False
) -> tuple[Belief, list[float]]:
    """Return the belief after readings, and how well each fits what was plausible when it came and what is now.

    ``in_hindsight`` asks only for what is plausible now: two faults at once never are before they are called for.
    """
    fits, tails = [], []
    for forecast, reading in zip(bench.forecast_all([t.measurement for t in taken]), taken, strict=True):
        before = belief
        belief, tail = update(before, forecast, reading.value, bench.meter)
        fits.append(rate_fit(before, tail))
        tails.append(tail)
    now = rate_together(belief, tails)
    return belief, now if in_hindsight else [min(pair) for pair in zip(fits, now, strict=True)]


def _after_repairs(belief: Belief, bench: Bench, tried: Sequence[tuple[str, str]]) -> Belief:
    """Return the belief after repairs that did not cure: a small share is left, they may have been done badly."""
    if not tried:
        return belief
    left = np.array([BADLY_DONE ** tried.count(find_repair_class(h)) for h in bench.hypotheses])
    left[0] = CLEARED
    weight = belief.probability * left
    total = weight.sum() + belief.not_modelled
    return Belief(weight / total, belief.not_modelled / total, belief.moved, belief.open)


def _try_pairs(
    bench: Bench, question: Question, taken: Sequence[Taken], single: tuple[Belief, Contradiction | None]
) -> tuple[Bench, Belief, Contradiction | None]:
    """Return bench, belief and contradiction with pairs of faults let in; as they were where pairs explain no more."""
    prior = tell_baseline(build_prior(bench, question.contexts), bench, question.baseline)
    symptom = question.symptom_after or question.symptom
    complaint = rate_symptom(bench, symptom) if symptom else np.ones_like(prior.probability)
    doubles = build_doubles(bench, prior, complaint, taken, question.contexts)
    if doubles is None:
        return bench, *single
    start = reweigh(doubles.prior, doubles.complaint, ANY_COMPLAINT)
    follow = partial(_follow, start, doubles.bench, in_hindsight=True)
    belief, fits = follow(taken)
    double = np.array([len(h) > 1 for h in doubles.bench.hypotheses])
    lost = float(belief.probability[double].sum()) * doubles.dropped
    told = Belief(belief.probability / (1 + lost), (belief.not_modelled + lost) / (1 + lost), belief.moved, belief.open)
    contradiction = _find_worst(question, taken, fits, lambda rest: follow(rest)[1])
    explains = contradiction is None and told.not_modelled < DOUBTED
    if told.not_modelled > single[0].not_modelled and not explains:
        return bench, *single
    if contradiction is not None and single[1] is not None:
        return bench, *single  # one wrong reading is likelier than two faults and a wrong reading
    return doubles.bench, told, contradiction


def _find_contradiction(
    bench: Bench, question: Question, taken: Sequence[Taken], fits: Sequence[float]
) -> Contradiction | None:
    """Name the reading which, left out, lets all others fit best; None while every reading fits something."""
    return _find_worst(question, taken, fits, lambda rest: _believe(bench, question, rest)[1])


def _find_worst(
    question: Question, taken: Sequence[Taken], fits: Sequence[float], fit_of: Callable[[Sequence[Taken]], list[float]]
) -> Contradiction | None:
    counts = Counter(t.measurement.set_up for t in question.taken)
    limits = [FITS_AGAIN if counts[t.measurement.set_up] > 1 else FITS for t in taken]
    if all(fit >= limit for fit, limit in zip(fits, limits, strict=True)):
        return None
    best, worst_fit = len(taken) - 1, -1.0
    for n in range(len(taken)):
        rest = [t for m, t in enumerate(taken) if m != n]
        fit = min(fit_of(rest), default=1.0)
        if fit >= worst_fit:
            best, worst_fit = n, fit
    last = max(n for n, t in enumerate(question.taken) if t.measurement.set_up == taken[best].measurement.set_up)
    return Contradiction(last, min(fits))
