"""The compiled functions: they work where nothing can be kept, and all of them lie in one file."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numba
import pytest

from diagnostics.circuit import compiled


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
