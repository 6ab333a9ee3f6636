"""Set cover: published optima, every subset tried, and an honest gap where time runs out.

Published: the Steiner triple covers A9 = 5 and A27 = 18 (D. R. Fulkerson, G. L. Nemhauser, L. E. Trotter, Mathematical
Programming Study 2, 1974), and A81 = 61, since what covers all lines of AG(4, 3) is what a cap set leaves, and the
largest cap has 20 points (G. Pellegrino, 1970); all three from memory. Random tables of codes, as in fault
dictionaries (faults x points x codes), are invented.
"""

import itertools

import numpy as np
import pytest
from numpy.typing import NDArray

from diagnostics.proving.testability import Work, find_fewest, find_quickest, pack_rows, reduce_rows, unpack_rows

Flags = NDArray[np.bool_]
PLACES = 3


def draw_lines(dimensions: int) -> Flags:
    """Return the lines of three points of the affine space over three elements, (line, point)."""
    points = list(itertools.product(range(3), repeat=dimensions))
    thirds = {
        frozenset((p, q, tuple((-a - b) % 3 for a, b in zip(p, q, strict=True))))
        for p, q in itertools.combinations(points, 2)
    }
    return np.array([[p in line for p in points] for line in sorted(map(sorted, thirds))])


def draw_table(seed: int, faults: int, points: int, codes: int) -> Flags:
    """Return which point tells which two faults apart, (pair, point), where any does; codes drawn at random."""
    table = np.random.default_rng(seed).integers(codes, size=(faults, points))
    first, second = np.triu_indices(faults, 1)
    rows: Flags = table[first] != table[second]
    return rows[rows.any(axis=1)]


def draw_work(seed: int, columns: int) -> Work:
    rng = np.random.default_rng(seed)
    minutes = rng.integers(1, 9, columns) / 2
    at = rng.integers(-1, PLACES, columns).astype(np.intp)
    return Work(minutes, at, rng.integers(1, 9, PLACES) / 2, 2.5)


def add_up(work: Work, chosen: tuple[int, ...]) -> float:
    places = {int(work.at[c]) for c in chosen} - {-1}
    travel = sum(float(work.place_minutes[p]) for p in places) + 2.5 * bool(places)
    return sum(float(work.minutes[c]) for c in chosen) + travel


def list_covers(rows: Flags) -> list[tuple[int, ...]]:
    """Try every subset of the columns."""
    columns = range(rows.shape[1])
    some = (s for size in range(rows.shape[1] + 1) for s in itertools.combinations(columns, size))
    return [s for s in some if rows[:, list(s)].any(axis=1).all()]


@pytest.mark.parametrize(("dimensions", "optimum"), [(2, 5), (3, 18)])
def test_published_steiner_covers_are_proved(dimensions: int, optimum: int) -> None:
    found = find_fewest(draw_lines(dimensions), 60.0)
    assert (found.value, found.bound, found.is_proved) == (optimum, optimum, True)


def test_where_time_runs_out_the_gap_holds_the_published_optimum() -> None:
    rows = draw_lines(4)
    found = find_fewest(rows, 0.5)
    assert not found.is_proved
    assert found.bound <= 61 <= found.value
    assert rows[:, list(found.chosen)].any(axis=1).all()


@pytest.mark.parametrize("seed", range(12))
def test_fewest_and_quickest_are_the_best_of_every_subset(seed: int) -> None:
    rows, work = draw_table(seed, 12, 9, 3), draw_work(seed, 9)
    covers = list_covers(rows)
    fewest, least = min(map(len, covers)), min(add_up(work, c) for c in covers)
    few, quick = find_fewest(rows, 10.0), find_quickest(rows, work, 10.0)
    assert (few.value, few.bound, few.chosen in covers) == (fewest, fewest, True)
    assert quick.value == pytest.approx(least)
    assert add_up(work, quick.chosen) == pytest.approx(least)
    assert quick.chosen in covers
    short = find_quickest(rows, work, 10.0, most=fewest)
    assert short.value == pytest.approx(min(add_up(work, c) for c in covers if len(c) == fewest))


@pytest.mark.parametrize("seed", range(4))
def test_rows_that_hold_another_are_left_out_and_nothing_changes(seed: int) -> None:
    rows = draw_table(seed, 19, 11, 4)
    less = unpack_rows(reduce_rows(pack_rows(rows)), 11)
    sets = [set(np.flatnonzero(row)) for row in less]
    assert not any(a <= b for a, b in itertools.permutations(sets, 2))
    assert all(any(s <= set(np.flatnonzero(row)) for s in sets) for row in rows)
    assert {tuple(s) for s in list_covers(less)} == {tuple(s) for s in list_covers(rows)}


def test_bits_hold_more_columns_than_one_word() -> None:
    rows = np.random.default_rng(0).random((7, 130)) < 0.5
    assert pack_rows(rows).shape == (7, 3)
    assert (unpack_rows(pack_rows(rows), 130) == rows).all()


def test_a_row_that_nothing_covers_is_refused() -> None:
    with pytest.raises(ValueError, match="nothing covers"):
        find_fewest(np.array([[True, False], [False, False]]), 1.0)
    with pytest.raises(ValueError, match="nothing covers"):
        find_quickest(np.eye(3, dtype=np.bool_), draw_work(0, 3), 1.0, most=2)
