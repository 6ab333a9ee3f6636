"""From readings, complaint and repairs made so far to a belief, and to the reading that does not go with the rest."""

import math
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from diagnostics.readings import AS_IT_SHOULD_BE, Bench

from .answer import Contradiction, Question
from .baseline import tell_baseline
from .belief import (
    FITS,
    FITS_AGAIN,
    Belief,
    Taken,
    build_prior,
    keep_latest,
    rate_any,
    rate_fit,
    rate_together,
    reweigh,
    tell_symptom,
    update,
)
from .confirm import LOOKS, MORE_SEE, MOST_SEE, NEARLY_ALL_SEE
from .pairs import BADLY_DONE, CLEARED, DOUBTED, build_doubles, tell_mended
from .repairs import find_repair_class
from .symptoms import rate_symptom


@dataclass(frozen=True, slots=True)
class Followed:
    """What some readings made of a belief, and how well each fits: what was plausible or is now, and every hypothesis.

    ``fits`` is (reading,), ``tails`` are (reading, hypothesis).
    """

    belief: Belief
    fits: list[float]
    tails: NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Weighed:
    """The belief, the bench of what it is in, and the reading that does not go with the rest, if there is one.

    The bench is another where two faults at once were let in, which needs a reason. ``tails`` (reading, hypothesis) say
    how well each of the readings that count, ``taken``, fits each hypothesis.
    """

    bench: Bench
    belief: Belief
    contradiction: Contradiction | None
    taken: tuple[Taken, ...]
    tails: NDArray[np.float64]


def weigh(bench: Bench, question: Question) -> Weighed:
    """Return what is believed once the complaint, repairs so far and readings are known."""
    taken = keep_latest(question.taken[find_split(question) :])
    followed = _believe(bench, question, taken)
    contradiction = _find_contradiction(bench, question, taken, followed.fits)
    single = Weighed(bench, followed.belief, contradiction, taken, followed.tails)
    if not question.one_fault and (contradiction is not None or followed.belief.not_modelled >= DOUBTED):
        return _try_pairs(question, single)
    return single


def find_misfit(weighed: Weighed, question: Question, chosen: NDArray[np.bool_]) -> Contradiction | None:
    """Return the reading that most of some chosen hypotheses, by weight, could only have as a mistake; or None.

    Something else may explain it; before a repair it is taken again all the same. What nearly every looker finds must
    have been seen, where somebody looked; so must what most find, of two faults at once, which bend to nearly anything,
    and what more find than miss, of what was mended in vain.
    """
    weight = np.where(chosen, weighed.belief.probability, 0.0)
    weight /= weight.sum()
    some = weighed.bench.hypotheses
    missed = np.where([len(h) > 1 for h in some], 1 - MOST_SEE, 1 - NEARLY_ALL_SEE)
    missed = np.where([find_repair_class(h) in question.tried for h in some], 1 - MORE_SEE, missed)
    limits = _list_limits(question, weighed.taken)
    for n, taken in enumerate(weighed.taken):
        unseen = taken.measurement.kind in LOOKS and taken.value == AS_IT_SHOULD_BE
        limit = np.maximum(limits[n], missed) if unseen else limits[n]
        if float(weight[weighed.tails[n] < limit].sum()) > 0.5:
            found = _build_contradiction(question, taken, float(weighed.tails[n] @ weight))
            return replace(found, unseen=unseen)
    return None


def find_split(question: Question) -> int:
    """Return how many readings were taken before the last repair that did not cure; 0 where there was none."""
    if not question.tried or question.tried_after is None:
        return 0
    return question.tried_after


def _believe(bench: Bench, question: Question, taken: Sequence[Taken]) -> Followed:
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


def _follow(belief: Belief, bench: Bench, taken: Sequence[Taken], *, in_hindsight: bool = False) -> Followed:
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
    fits = now if in_hindsight else [min(pair) for pair in zip(fits, now, strict=True)]
    return Followed(belief, fits, np.array(tails).reshape(len(taken), len(bench.hypotheses)))


def _after_repairs(belief: Belief, bench: Bench, tried: Sequence[tuple[str, str]]) -> Belief:
    """Return the belief after repairs that did not cure: a small share is left, they may have been done badly."""
    if not tried:
        return belief
    left = np.array([BADLY_DONE ** tried.count(find_repair_class(h)) for h in bench.hypotheses])
    left[0] = CLEARED
    weight = belief.probability * left
    total = weight.sum() + belief.not_modelled
    return Belief(weight / total, belief.not_modelled / total, belief.moved, belief.open)


def _try_pairs(question: Question, single: Weighed) -> Weighed:
    """Return what is believed with pairs of faults let in; what was believed before where pairs explain no more."""
    bench, taken = single.bench, single.taken
    prior = tell_baseline(build_prior(bench, question.contexts), bench, question.baseline)
    symptom = question.symptom_after or question.symptom
    complaint = rate_symptom(bench, symptom) if symptom else np.ones_like(prior.probability)
    doubles = build_doubles(bench, prior, complaint, taken, question.contexts)
    if doubles is None:
        return single
    start = reweigh(doubles.prior, doubles.complaint, rate_any(doubles.prior, doubles.complaint))
    follow = partial(_follow, start, doubles.bench, in_hindsight=True)
    followed = follow(taken)
    belief = followed.belief
    double = np.array([len(h) > 1 for h in doubles.bench.hypotheses])
    lost = float(belief.probability[double].sum()) * doubles.dropped
    told = Belief(belief.probability / (1 + lost), (belief.not_modelled + lost) / (1 + lost), belief.moved, belief.open)
    contradiction = _find_worst(question, taken, followed.fits, lambda rest: follow(rest).fits)
    explains = contradiction is None and told.not_modelled < DOUBTED
    if told.not_modelled > single.belief.not_modelled and not explains:
        return single
    if contradiction is not None and single.contradiction is not None:
        return single  # one wrong reading is likelier than two faults and a wrong reading
    return Weighed(doubles.bench, told, contradiction, taken, followed.tails)


def _find_contradiction(
    bench: Bench, question: Question, taken: Sequence[Taken], fits: Sequence[float]
) -> Contradiction | None:
    """Name the reading which, left out, lets all others fit best; None while every reading fits something."""
    return _find_worst(question, taken, fits, lambda rest: _believe(bench, question, rest).fits)


def _find_worst(
    question: Question, taken: Sequence[Taken], fits: Sequence[float], fit_of: Callable[[Sequence[Taken]], list[float]]
) -> Contradiction | None:
    if all(fit >= limit for fit, limit in zip(fits, _list_limits(question, taken), strict=True)):
        return None
    best, worst_fit = len(taken) - 1, -1.0
    for n in range(len(taken)):
        rest = [t for m, t in enumerate(taken) if m != n]
        fit = min(fit_of(rest), default=1.0)
        if fit >= worst_fit:
            best, worst_fit = n, fit
    return _build_contradiction(question, taken[best], min(fits))


def _build_contradiction(question: Question, doubted: Taken, fit: float) -> Contradiction:
    same = [n for n, t in enumerate(question.taken) if t.measurement.set_up == doubted.measurement.set_up]
    values = [question.taken[n].value for n in same]
    stands = len(values) > 2 or (len(values) == 2 and is_same(*values))
    return Contradiction(same[-1], fit, stands)


def _list_limits(question: Question, taken: Sequence[Taken]) -> list[float]:
    """Return below which share each reading fits nothing: what was taken again may be rarer."""
    counts = Counter(t.measurement.set_up for t in question.taken)
    return [FITS_AGAIN if counts[t.measurement.set_up] > 1 else FITS for t in taken]
