"""Two faults at once: what it saves to weigh pairs of faults, against taking one at a time and starting anew.

The same two faults in the same world, twice: once by the engine as it is, once with no pairs let in and, after a repair
that was not enough, a new case of which only the repairs made are known and the test that failed. Either fault alone
would be complained of. Nobody is quicker than who knows both, mends them and tests once.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial
from zlib import crc32

import numpy as np
from numpy.typing import NDArray

from diagnostics.errors import DiagnosticsError
from diagnostics.faults import Context, find_touched, parse_faults
from diagnostics.reasoning import NOTHING, Question, conclude
from diagnostics.referee import (
    Ask,
    NeverSettlesError,
    NotPlayedError,
    Person,
    Plant,
    RefusedError,
    World,
    build_world,
    draw_fault,
    find_complaint,
    find_healthy_complaint,
    find_minutes,
    find_round_minutes,
    find_sound_seed,
    find_still,
    find_told,
    has_right_hands,
    play_round,
    read_spreads,
)

from .policies import Interval, find_mean
from .stand import Stand, play_sites

MOST_STEPS, MOST_REPAIRS, MOST_DRAWS = 40, 5, 200
Array = NDArray[np.float64]
CONTEXT: Context = "new"  # two faults at once are ordinary on new work


@dataclass(frozen=True, slots=True)
class Double:
    """Two faults at a site: minutes to restored and tested, or given up and charged another visit, either way.

    ``knowing`` are those of who knows both and measures nothing; ``second_search`` is what is measured after the first
    repair where faults are taken one at a time. ``wrong`` and ``apart_wrong`` count repairs of what was sound.
    """

    site: str
    faults: str
    together: float
    apart: float
    knowing: float
    second_search: float
    wrong: int
    apart_wrong: int
    restored: bool
    apart_restored: bool


@dataclass(frozen=True, slots=True)
class _Played:
    """One way through: minutes, those measured after the first repair, sound parts repaired, whether restored."""

    minutes: float
    second_search: float
    wrong: int
    restored: bool


def play_doubles(ask: Ask, styles: Sequence[str], count: int, seed: int, *, jobs: int = 1) -> list[Double]:
    """Return so many drawn pairs of faults at every site of each style."""
    return play_sites(partial(play_pairs, count=count, seed=seed), ask, styles, jobs)


def play_pairs(stand: Stand, *, count: int, seed: int) -> list[Double]:
    """Return so many drawn pairs at a site, or as many as its draws give."""
    found: list[Double] = []
    for number in range(MOST_DRAWS):
        if len(found) == count:
            break
        rng = np.random.default_rng([seed, crc32(stand.site.stem.encode()), number, 2])
        faults = (draw_fault(stand.line, stand.site, rng), draw_fault(stand.line, stand.site, rng))
        try:
            plant = Plant(stand.site, ",".join(faults), CONTEXT, _find_seed(stand, (seed, number)))
            if _is_real(stand, plant, faults):
                found.append(_play_both(stand, plant))
        except (NotPlayedError, NeverSettlesError, RefusedError, DiagnosticsError):
            continue  # nobody has words for it, it never rests, or the two cannot be at once
        finally:
            for fault in (*faults, ",".join(faults)):
                stand.forget(fault)
    return found


def _find_seed(stand: Stand, seed: tuple[int, ...]) -> tuple[int, ...]:
    """Return the seed of a world that is sound once both are mended: no other could be restored."""
    return find_sound_seed(stand.line, stand.site, seed, read_spreads())


def _is_real(stand: Stand, plant: Plant, faults: tuple[str, str]) -> bool:
    """Return whether two faults go together and each alone would be complained of."""
    touched = [find_touched(stand.bench.loop, parse_faults(fault, stand.bench.loop)[0]) for fault in faults]
    if touched[0] & touched[1]:
        return False
    return all(_complain(stand, _build(stand, plant, [fault])) is not None for fault in (*faults, plant.fault))


def _build(stand: Stand, plant: Plant, left: Sequence[str]) -> World:
    return build_world(stand.line, stand.site, ",".join(left) or "healthy", plant.seed, read_spreads())


def _complain(stand: Stand, world: World) -> str | None:
    found = find_complaint(world)
    return None if found == find_healthy_complaint(stand.line, stand.site) else found


def _play_both(stand: Stand, plant: Plant) -> Double:
    together, apart = _play(stand, plant, one_fault=False), _play(stand, plant, one_fault=True)
    return Double(
        plant.site.stem, plant.fault, together.minutes, apart.minutes, _rate_knowing(stand, plant), apart.second_search,
        together.wrong, apart.wrong, together.restored, apart.restored,
    )  # fmt: skip


def _rate_knowing(stand: Stand, plant: Plant) -> float:
    """Return the minutes of who knows both faults: both repairs, and one round of tests after them."""
    each = [replace(plant, fault=fault) for fault in plant.fault.split(",")]
    repairs = [_find_remedy_minutes(stand, stand.line.find_kind(stand.site, one.kind)["remedy"]) for one in each]
    return math.fsum(repairs) + min(find_round_minutes(_build(stand, plant, []), one.place) for one in each)


def _play(stand: Stand, plant: Plant, *, one_fault: bool) -> _Played:
    """Return how a visit went."""
    left, minutes, later, wrong, repairs = plant.fault.split(","), 0.0, 0.0, 0, 0
    world = _build(stand, plant, left)
    person = Person(world, plant)
    question = Question(contexts=(CONTEXT,), symptom=_complain(stand, world), one_fault=one_fault)
    if told := find_told(world, plant, question.symptom or ""):
        question = stand.note(question, *told)
    for _ in range(MOST_STEPS):
        found = conclude(stand.bench, question)
        action = found.action
        if action is not None and action.measurement is not None:
            took = find_minutes(stand.rows[action.measurement.key], question.standing_at)
            minutes, later = minutes + took, later + (took if repairs else 0.0)
            question = stand.read(person, question, action.measurement)
            continue
        repair = found.settled or found.repair
        if repair is None or repair == NOTHING or repairs == MOST_REPAIRS:
            break
        repairs += 1
        fixed = [f for f in left if has_right_hands(stand.line, replace(plant, fault=f), *repair)]
        wrong += not fixed
        left = [f for f in left if f not in fixed]
        minutes += _find_remedy_minutes(stand, repair[0])
        person.world = world = _build(stand, plant, left)
        tested = play_round(world, plant, repair[1])
        minutes += tested.minutes
        complaint = _complain(stand, world)
        if complaint is None:
            return _Played(minutes, later, wrong, restored=True)
        question = _go_on(question, repair, complaint)
        if still := find_still(world, plant, tested, complaint):
            question = stand.note(question, *still)
    return _Played(minutes + read_spreads().minutes.second_visit, later, wrong, restored=False)


def _go_on(question: Question, repair: tuple[str, str], complaint: str) -> Question:
    """Return what is known after a repair that was not enough: all of it, or where faults come singly a new case."""
    if question.one_fault:
        tried = (*question.tried, repair)
        return Question(contexts=(CONTEXT,), symptom=complaint, tried=tried, one_fault=True)
    return question.go_on(repair, complaint)


def _find_remedy_minutes(stand: Stand, remedy: str) -> float:
    rows = stand.line.list_rows("kinds", stand.site)
    return float(next(row["remedy_minutes"] for row in rows if row["remedy"] == remedy))


@dataclass(frozen=True, slots=True)
class Saving:
    """What weighing pairs saves: mean minutes either way, and the share of the minutes saved with its interval.

    ``saved_of_rest`` is the share of those beyond what somebody takes who knows both faults; ``second_search`` the
    share that would be saved if nothing had to be measured after the first repair.
    """

    count: int
    together: Interval
    apart: Interval
    knowing: Interval
    saved_minutes: Interval
    saved_share: Interval
    saved_of_rest: Interval
    second_search: Interval
    wrong: float
    apart_wrong: float


def rate_saving(pairs: Sequence[Double]) -> Saving:
    """Return what is saved; the interval of the share comes from pairs drawn anew."""
    together, apart, knowing, later = (
        np.array([getattr(p, word) for p in pairs]) for word in ("together", "apart", "knowing", "second_search")
    )
    drawn = np.random.default_rng(1).integers(len(pairs), size=(1000, len(pairs)))
    wrong, apart_wrong = (float(np.mean([getattr(p, word) for p in pairs])) for word in ("wrong", "apart_wrong"))
    return Saving(
        count=len(pairs),
        together=find_mean(list(together)),
        apart=find_mean(list(apart)),
        knowing=find_mean(list(knowing)),
        saved_minutes=find_mean([float(v) for v in apart - together]),
        saved_share=_find_saved(together, apart, drawn),
        saved_of_rest=_find_saved(together - knowing, apart - knowing, drawn),
        second_search=_find_saved(apart - later, apart, drawn),
        wrong=wrong,
        apart_wrong=apart_wrong,
    )


def _find_saved(together: Array, apart: Array, drawn: NDArray[np.intp]) -> Interval:
    """Return the share of all minutes that is saved; its interval is of pairs drawn anew, (draw, pair)."""
    low, high = np.quantile(1 - together[drawn].sum(axis=1) / apart[drawn].sum(axis=1), (0.025, 0.975))
    return Interval(float(1 - together.sum() / apart.sum()), float(low), float(high), together.size)
