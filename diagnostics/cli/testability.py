"""What ``ohmward check --testability`` adds: the testability of each site."""

import sys
from collections.abc import Iterator, Sequence
from typing import Any, Final

from diagnostics.proving import Testability, check_testability
from diagnostics.reports import build_testability_object, render_testability_text, tell_long_check
from diagnostics.wiring import Loop

# From so many detectors on it takes more than about half a minute.
LONG: Final = 24


def tell_sites(sites: Sequence[tuple[str, Loop]], *, as_json: bool) -> Iterator[tuple[str, Loop, Testability]]:
    """Yield the testability of each site (name of its file, loop); that a long loop takes long is said first."""
    for name, loop in sites:
        if len(loop.detectors) >= LONG and not as_json:
            print(tell_long_check(loop), file=sys.stderr)
        yield name, loop, check_testability(loop)


def build_objects(told: Sequence[tuple[str, Loop, Testability]]) -> dict[str, Any]:
    """Return what is added to the JSON object of ``check``."""
    return {"testability": [{"file": name} | build_testability_object(t) for name, _, t in told]} if told else {}


def tell_lines(told: Sequence[tuple[str, Loop, Testability]]) -> list[str]:
    """Return lines for a terminal."""
    return [line for _, loop, t in told for line in render_testability_text(t, loop)]
