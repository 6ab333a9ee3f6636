"""Values that are made when they are first asked for: most forecasts are never needed for the next action."""

from collections.abc import Callable, Sequence
from typing import TypeVar, overload

T = TypeVar("T")


class Lazily(Sequence[T]):
    """A sequence of ``count`` values; ``make`` makes those of some numbers, each once."""

    def __init__(self, count: int, make: Callable[[Sequence[int]], Sequence[T]]) -> None:
        """Make nothing yet."""
        self._count, self._make = count, make
        self._made: dict[int, T] = {}

    def __len__(self) -> int:
        """Return how many values there are, made or not."""
        return self._count

    @overload
    def __getitem__(self, at: int) -> T: ...

    @overload
    def __getitem__(self, at: slice) -> tuple[T, ...]: ...

    def __getitem__(self, at: int | slice) -> T | tuple[T, ...]:
        """Return one value or several, made now if need be."""
        numbers = range(self._count)[at]
        if isinstance(numbers, int):
            self.prepare([numbers])
            return self._made[numbers]
        self.prepare(numbers)
        return tuple(self._made[n] for n in numbers)

    @property
    def made(self) -> tuple[int, ...]:
        """Return the numbers of the values that are there, in order."""
        return tuple(sorted(self._made))

    def prepare(self, numbers: Sequence[int]) -> None:
        """Make some values together, which is quicker than one by one."""
        missing = [n for n in numbers if n not in self._made]
        if missing:
            self._made.update(zip(missing, self._make(missing), strict=True))


def prepare(values: Sequence[T], numbers: Sequence[int]) -> None:
    """Make some values together, where they are made at all."""
    if isinstance(values, Lazily):
        values.prepare(numbers)
