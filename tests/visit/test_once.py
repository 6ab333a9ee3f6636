"""What was worked out for one object is kept for that very object, and never taken for another, equal one."""

from diagnostics.visit import once


def test_it_is_worked_out_once_for_each_object_and_anew_for_an_equal_one() -> None:
    asked: list[tuple[int, ...]] = []

    @once
    def add(some: tuple[int, ...]) -> int:
        asked.append(some)
        return sum(some)

    first: tuple[int, ...] = (1, 2)
    equal = (*first[:1], 2)
    assert [add(first), add(first), add(equal)] == [3, 3, 3]
    assert len(asked) == 2


def test_only_the_last_few_are_kept() -> None:
    asked: list[object] = []
    find = once(asked.append)
    every = [object() for _ in range(40)]
    for one in every:
        find(one)
    find(every[-1])
    assert len(asked) == 40
    find(every[0])
    assert len(asked) == 41
