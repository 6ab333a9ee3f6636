"""Reckoning ahead: while a person reads, types or climbs, what the next screens will need is worked out."""

import logging
import math
import threading
from collections import OrderedDict
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime
from typing import Final

from diagnostics.cases import Case, Reading
from diagnostics.readings import Measurement
from diagnostics.reasoning import Expected
from diagnostics.units import format_quantity

from .assess import Assessment, assess_case, build_reading, tell_meaning

# Longer loops are left alone: a call that is given up would keep the machine busy for a minute or more (measured: 13 to
# 23 s at 64).
LONGEST: Final = 64
# Up to so many detectors the next step is there at once, and nothing need be reckoned ahead for its answers.
QUICK: Final = 10
MOST_ANSWERS: Final = 4
_MOST_CASES: Final = 64

_turn = threading.Lock()  # one reckoning ahead at a time: it must not slow down those who wait for an answer
_door = threading.Lock()
_wanted: OrderedDict[str, int] = OrderedDict()  # the latest that was asked for each case


def prepare(case: Case) -> threading.Thread | None:
    """Begin to reckon a case in the background, so that its bench is warm when it is asked for; None if not needed.

    Nothing depends on it: whoever asks earlier waits for the same rows, or makes them. What was asked before for the
    same case is given up at its next step.
    """
    return _begin(case, "case", (case,))


def prepare_answers(assessment: Assessment) -> threading.Thread | None:
    """Begin to reckon what the likeliest answers to the suggested measurement would mean; None if not needed."""
    if len(assessment.loop.detectors) <= QUICK:
        return None
    return _begin(assessment.case, "answers", list_answered(assessment))


def list_answered(assessment: Assessment) -> tuple[Case, ...]:
    """Return the case as it would stand after each of the likeliest answers to the suggested measurement."""
    action = assessment.diagnosis.next
    m = action.measurement if action else None
    if m is None:
        return ()
    texts = dict.fromkeys(_write_answer(e) for e in _drop_alike(assessment.diagnosis.expected))
    some, case = [_build_read(m, text) for text in texts][:MOST_ANSWERS], assessment.case
    return tuple(replace(case, readings=(*case.readings, reading)) for reading in some)


def _build_read(m: Measurement, text: str) -> Reading:
    return replace(build_reading(m, text, "ahead"), taken_at=datetime.now(UTC))


def _drop_alike(expected: Sequence[Expected]) -> list[Expected]:
    """Return what the meter tells apart: numbers in the middle of what an earlier group would show are dropped."""
    found: list[Expected] = []
    are_numbers = any(e.state is None for e in expected)
    for e in expected:
        if are_numbers and e.state is not None:  # nobody types a number for what is not there
            continue
        middle = _find_middle(e)
        if not any(f.low is not None and f.high is not None and f.low <= middle <= f.high for f in found):
            found.append(e)
    return found


def _find_middle(expected: Expected) -> float:
    """Return the middle of a range (V or Ω); NaN for a word."""
    if expected.low is None or expected.high is None:
        return math.nan
    return 0.5 * (expected.low + expected.high)


def _write_answer(expected: Expected) -> str:
    """Return an answer in the middle of what is expected, as it would be typed."""
    middle = _find_middle(expected)
    if expected.state is not None:
        return expected.state
    return format_quantity(middle, expected.unit, 4) if math.isfinite(middle) else "OL"


def _begin(case: Case, kind: str, cases: Sequence[Case]) -> threading.Thread | None:
    """Start a thread for these cases, unless the same was asked for already."""
    if not cases or case.site.detector_count > LONGEST:
        return None
    mark = hash((kind, tell_meaning(case)))
    with _door:
        if _wanted.get(case.case_id) == mark:
            return None
        _wanted[case.case_id] = mark
        _wanted.move_to_end(case.case_id)
        while len(_wanted) > _MOST_CASES:
            _wanted.popitem(last=False)
    thread = threading.Thread(target=_reckon, args=(case.case_id, mark, tuple(cases)), name="prepare", daemon=True)
    thread.start()
    return thread


def _reckon(case_id: str, mark: int, cases: Sequence[Case]) -> None:
    for case in cases:
        with _turn:
            if _wanted.get(case_id) != mark:
                return
            try:
                assess_case(case, guided=True)
            except Exception:
                logging.getLogger("ohmward").warning("could not reckon ahead", exc_info=True)
