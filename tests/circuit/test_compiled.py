"""The compiled functions: they work where nothing can be kept, and all of them lie in one file."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numba
import pytest

from diagnostics.circuit import MeterInput, compiled, read_meter, solve_batch
from diagnostics.wiring import QuickDescription, build_loop, build_quick_site


def add(a: int, b: int) -> int:
    return a + b


def test_where_nothing_can_be_written_functions_are_compiled_all_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(**options: Any) -> Callable[..., Any]:  # noqa: ANN401 - numba's own options
        if options.get("cache"):
            raise RuntimeError("cannot cache function: no locator available for file")
        fast: Callable[..., Any] = numba.njit(**options)
        return fast

    monkeypatch.setattr(compiled, "njit", refuse)
    assert compiled.compile_fast(add)(2, 3) == 5


def test_one_file_holds_all_that_is_compiled() -> None:
    """Numba makes anew what it kept when the file of a function changes, not when one does that the function calls."""
    home = Path(compiled.__file__)
    files = (p for p in home.parents[1].rglob("*.py") if "numba" in p.read_text(encoding="utf-8"))
    assert list(files) == [home]


def test_all_arrays_come_in_one_layout() -> None:
    """A second layout would be compiled for anew, some seconds in which somebody waits for the first question."""
    loop = build_loop(build_quick_site(QuickDescription("two_wire_zone", "3", "4.7k", "18 AWG", "10 m"))[0])
    settled = solve_batch(loop, [()] * 3)
    heavy = MeterInput(input_ohm=50.0, test_v=3.0)  # it moves elements, so that circuits are solved anew with it on
    read_meter(settled, [("panel.zone1+", "panel.zone1-"), ("det2.in+", "det3.in-"), ("det1.in+", "earth")], heavy)
    functions: list[Any] = [compiled.settle, compiled.solve_sides]
    assert [len(function.signatures) for function in functions] == [1, 1]
