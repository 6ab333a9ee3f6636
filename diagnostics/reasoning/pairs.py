"""Two faults at once: pairs are made where single faults do not explain what was read, or one repair was not enough.

Every pair of two single faults is rated by a stand-in that costs nothing, the better of its two halves reading by
reading; the best are wired up and rated like any hypothesis, the rest is kept as *other*.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from diagnostics.faults import Context, Fault, find_touched, read_catalogue
from diagnostics.readings import Bench, Faults

from .belief import Belief, Taken, rate_any
from .likelihood import rate_reading

Array = NDArray[np.float64]
Index = NDArray[np.intp]
MOST_SINGLES = 600  # single faults that can be half of a pair, the best by what was read
MOST_PAIRS = 1000  # pairs that are wired up
MOST_KEPT = 150  # single faults that stay beside them
MOST_MENDED = 3  # faults that one repair may have mended, each of another kind
BADLY_DONE, CLEARED = 0.05, 0.02  # what is left of a repaired fault, and of *nothing wrong*, when it is still faulty
DOUBTED = 0.1  # *not modelled* from here up asks for pairs


@dataclass(frozen=True, slots=True)
class Doubles:
    """A bench of single faults and pairs, *healthy* first; their prior, and rates of the complaint, (hypothesis,).

    ``dropped`` is the mass of the pairs that were left out, as a share of those that are in, by the stand-in.
    """

    bench: Bench
    prior: Belief
    complaint: Array
    dropped: float


def find_double_share(contexts: Sequence[Context]) -> float:
    """Return the share of two faults at once before anything is known but the context; invented, see the catalogue."""
    shares = read_catalogue().values.double_share
    chosen = [c for c in contexts if c in shares] or list(shares)
    return sum(shares[c] for c in chosen) / len(chosen)


def rate_singles(bench: Bench, taken: Sequence[Taken]) -> Array:
    """Return the logarithm of how well each reading fits each hypothesis by itself, (reading, hypothesis)."""
    zero = np.zeros(len(bench.hypotheses))
    rows = []
    for forecast, reading in zip(bench.forecast_all([t.measurement for t in taken]), taken, strict=True):
        spread = zero if forecast.slopes is None else forecast.spread
        rows.append(np.log(rate_reading(forecast, reading.value, zero, spread, bench.meter).likelihood + 1e-300))
    return np.array(rows).reshape(len(rows), zero.size)


def build_doubles(
    bench: Bench, prior: Belief, complaint: Array, taken: Sequence[Taken], contexts: Sequence[Context]
) -> Doubles | None:
    """Return the best pairs beside the best single faults, wired up; None where no two faults go together.

    ``bench`` holds *healthy* and single faults, ``prior`` and ``complaint`` (the rate of the complaint) are theirs.
    """
    told = rate_singles(bench, taken)
    weight = np.log(prior.probability + 1e-300) + np.log(complaint + 1e-300)
    half = _choose_halves(weight, told)
    pairs, scores = _rate_pairs(bench, half, weight, told)
    if not pairs.size:
        return None
    best = np.argsort(-scores, kind="stable")[:MOST_PAIRS]
    mass = np.exp(scores - scores.max())
    dropped = float(mass.sum() / mass[best].sum() - 1.0)
    kept = np.argsort(-(weight + told.sum(axis=0)), kind="stable")[:MOST_KEPT]
    kept = np.concatenate([[0], np.sort(kept[kept != 0])])
    return _wire(bench, prior, complaint, (kept, pairs[best]), (find_double_share(contexts), dropped))


def _choose_halves(weight: Array, told: Array) -> Index:
    """Return the single faults that explain some reading best beside the sound loop, by number."""
    gain = (told - told[:, :1]).max(axis=0, initial=0.0) + weight
    gain[0] = -np.inf
    return np.sort(np.argsort(-gain, kind="stable")[: min(MOST_SINGLES, gain.size - 1)])


def _rate_pairs(bench: Bench, half: Index, weight: Array, told: Array) -> tuple[Index, Array]:
    """Return every two of some faults that go together, (pair, 2), and the stand-in of each, (pair,)."""
    touched = [bench.touched[n] for n in half]
    names = {name: n for n, name in enumerate(sorted(frozenset().union(*touched)))}
    edits = np.zeros((half.size, len(names)), dtype=np.float32)
    for row, some in enumerate(touched):
        edits[row, [names[name] for name in some]] = 1.0
    one, two = np.nonzero(np.triu(edits @ edits.T == 0, k=1))
    one, two = half[one], half[two]
    scores: Array = weight[one] + weight[two]
    for row in told:
        scores = scores + np.maximum(row[one], row[two])
    return np.stack([one, two], axis=1), scores


def _wire(
    bench: Bench, prior: Belief, complaint: Array, chosen: tuple[Index, Index], shares: tuple[float, float]
) -> Doubles:
    kept, pairs = chosen
    share, dropped = shares
    single = prior.probability
    together = single[pairs[:, 0]] * single[pairs[:, 1]]
    every = 0.5 * (single[1:].sum() ** 2 - (single[1:] ** 2).sum())
    faults: list[Faults] = [bench.hypotheses[n] for n in kept]
    faults += [(bench.hypotheses[a][0], bench.hypotheses[b][0]) for a, b in pairs]
    probability = np.concatenate([(1 - share) * single[kept], share * single[1:].sum() * together / every])
    rates = np.concatenate([complaint[kept], np.maximum(complaint[pairs[:, 0]], complaint[pairs[:, 1]])])
    count, unknowns = len(faults), prior.moved.shape[1]
    moved = np.broadcast_to(prior.moved[0], (count, unknowns)).copy()
    open_ = np.broadcast_to(prior.open[0], (count, unknowns, unknowns)).copy()
    wired = Bench(bench.loop, faults, bench.meter).look_at(bench.focus)
    return Doubles(wired, Belief(probability, prior.not_modelled, moved, open_), rates, dropped)


def tell_mended(
    belief: Belief,
    bench: Bench,
    contexts: Sequence[Context],
    tried: Sequence[tuple[str, str]],
    before: Sequence[Taken],
    complaints: Sequence[Array | None],
) -> Belief:
    """Return the belief after repairs that did not cure, and after the readings taken before the last of them.

    Each single fault is either all that there ever was, and what was repaired was sound or was repaired badly; or it
    was there beside one that is mended now, and the readings and the complaint showed both: what is complained of
    since is then its own. ``bench`` holds *healthy* and single faults, ``complaints`` the rates of what was complained
    of before the last repair and since, (hypothesis,) each: None where nobody said, or where it is still the same.
    """
    first, since = complaints
    ones = np.ones_like(belief.probability)
    was = np.log((ones if first is None else first) + 1e-300)
    now = was if since is None else np.log(since + 1e-300)
    told = rate_singles(bench, before).sum(axis=0)
    classes = [h[0].repair_class if h else None for h in bench.hypotheses]
    left = np.array([BADLY_DONE ** tried.count(c) if c else 1.0 for c in classes])
    left[0] = CLEARED
    weight = np.log(belief.probability * left + 1e-300)
    alone = weight + told + was + (0.0 if since is None else now)
    order = np.argsort(-(told + np.log(belief.probability + 1e-300)), kind="stable")
    mended = dict[str, int]()
    for n in order:
        if classes[n] == tried[-1]:
            mended.setdefault(bench.hypotheses[n][0].kind, int(n))
    rest = np.array([n for n, c in enumerate(classes) if n and c not in tried], dtype=np.intp)
    rest = np.sort(rest[np.argsort(-(weight + now)[rest], kind="stable")][:MOST_SINGLES])
    beside = np.full(alone.size, -np.inf)
    share = find_double_share(contexts)
    for n in list(mended.values())[:MOST_MENDED]:
        both = _rate_mended(bench, bench.hypotheses[n][0], tuple(rest.tolist()), tuple(before))
        both = both + weight[rest] + np.maximum(was[n], was[rest]) + now[rest]
        both = both + np.log(share * belief.probability[n] / max(belief.probability[1:].sum(), 1e-300))
        beside[rest] = np.logaddexp(beside[rest], both)
    whole = np.logaddexp(alone + np.log1p(-share), beside)
    other = float(np.log(belief.not_modelled) + _rate_other(bench, before))
    other += sum(math.log(rate_any(belief, rates)) for rates in complaints if rates is not None)
    top = max(float(whole.max()), other)
    weight, nothing = np.exp(whole - top), float(np.exp(other - top))
    total = float(weight.sum()) + nothing
    return replace(belief, probability=weight / total, not_modelled=nothing / total)


def _rate_other(bench: Bench, taken: Sequence[Taken]) -> float:
    """Return the logarithm of how well readings fit *something not modelled*."""
    zero = np.zeros(1)
    sound = bench.narrow(np.array([0]))
    forecasts = sound.forecast_all([t.measurement for t in taken])
    fits = (rate_reading(f, t.value, zero, zero, bench.meter) for f, t in zip(forecasts, taken, strict=True))
    return float(sum(np.log(fit.not_modelled) for fit in fits))


@lru_cache(maxsize=8)
def _rate_mended(bench: Bench, mended: Fault, rest: tuple[int, ...], before: tuple[Taken, ...]) -> Array:
    """Return the logarithm of how well readings fit ``mended`` and each of some faults together, (fault,).

    Minus infinity where the two do not go together. Kept, since it stays the same from one reading to the next.
    """
    own = find_touched(bench.loop, mended)
    able = np.array([not (own & bench.touched[n]) for n in rest], dtype=np.bool_)
    found = np.full(len(rest), -np.inf)
    if able.any():
        pairs: list[Faults] = [(mended, bench.hypotheses[n][0]) for n in np.array(rest)[able]]
        found[able] = rate_singles(Bench(bench.loop, pairs, bench.meter), before).sum(axis=0)
    found.setflags(write=False)
    return found
