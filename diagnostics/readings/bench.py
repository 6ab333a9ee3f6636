"""The bench of all hypotheses: forecasts of some of them, each made once, whoever asks for it."""

from collections.abc import Sequence
from functools import cached_property

import numpy as np

from diagnostics.wiring import Loop

from .core import Core, Faults, Index
from .data import Meter, read_table
from .forecast import METER_ROWS, Forecast
from .measurement import Measurement


class Bench:
    """All hypotheses wired up and settled once; every forecast starts from there, and is made once.

    ``narrow`` gives a view of some of the hypotheses; what is made for one view serves all. Threads may share a bench.
    """

    def __init__(self, loop: Loop, hypotheses: Sequence[Faults], meter: Meter | None = None) -> None:
        """Wire up and settle; raises PhysicsError where a hypothesis does not fit the loop."""
        self._core = Core(loop, hypotheses, meter or read_table().meter)
        self._numbers: Index = np.arange(len(hypotheses))
        self._focus = ""

    def __eq__(self, other: object) -> bool:
        """Return whether these are views of the same hypotheses on the same bench."""
        return isinstance(other, Bench) and self._identity == other._identity

    def __hash__(self) -> int:
        """Return a number that is the same for equal views."""
        return hash(self._identity)

    @cached_property
    def _identity(self) -> tuple[int, str, bytes]:
        return id(self._core), self._focus, self._numbers.tobytes()

    @property
    def focus(self) -> str:
        """Return the zone of the loop that the complaint is about, or an empty text: nobody said."""
        return self._focus

    @cached_property
    def loop(self) -> Loop:
        """Return what is installed, as it should be; the loop that is looked at comes first."""
        return self._core.loop.focus(self._focus) if self._focus else self._core.loop

    @property
    def meter(self) -> Meter:
        """Return the meter in use."""
        return self._core.meter

    @property
    def count_unknowns(self) -> int:
        """Return how many unknowns spread a number: the loop's, two of the meter, and last the fault's own value."""
        return len(self._core.loop.unknowns) + len(METER_ROWS) + 1

    @cached_property
    def hypotheses(self) -> tuple[Faults, ...]:
        """Return the hypotheses of this view."""
        return tuple(self._core.hypotheses[n] for n in self._numbers)

    @cached_property
    def touched(self) -> tuple[frozenset[str], ...]:
        """Return the names of the elements and signals that each hypothesis of this view edits."""
        return self._core.list_touched(self._numbers)

    def narrow(self, some: Index) -> "Bench":
        """Return a view of some of the hypotheses, by their numbers in this view."""
        return self._view(self._numbers[some], self._focus)

    def look_at(self, zone: str) -> "Bench":
        """Return a view that looks at the loop on this zone; an empty text looks at all of them."""
        return self._view(self._numbers, zone)

    def _view(self, numbers: Index, focus: str) -> "Bench":
        view = Bench.__new__(Bench)
        view._core, view._numbers, view._focus = self._core, numbers, focus  # noqa: SLF001 - its own kind
        return view

    def forecast_all(self, measurements: Sequence[Measurement]) -> tuple[Forecast, ...]:
        """Return a forecast of each measurement, in their order."""
        with self._core.lock:
            return self._core.forecast(measurements, self._numbers)

    def forecast_each(self, asked: Sequence[tuple[Measurement, Index]]) -> tuple[Forecast, ...]:
        """Return a forecast of each measurement for hypotheses of its own, by their numbers in this view."""
        with self._core.lock:
            return self._core.forecast_each([(m, self._numbers[some]) for m, some in asked])
