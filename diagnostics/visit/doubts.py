"""Readings to ask about before they are kept: impossible ones, improbable ones, and when the complaint is not there."""

import math
from collections.abc import Callable
from dataclasses import replace
from typing import Final, Literal

from diagnostics.cases import Case, Reading, build_understood
from diagnostics.errors import DiagnosticsError
from diagnostics.readings import WALKS, Measurement

from .assess import Assessment, assess_case, understand
from .beyond import is_beyond
from .marks import was_told
from .recheck import is_assumed_24v

Doubt = Literal["", "impossible", "other_panel", "slip", "changed", "improbable"]
_SLIPS: Final = (-1.0, 1e3, 1e-3)  # leads exchanged; mV and kΩ, typed for V and Ω or the reverse
_LEAST: Final = {"V": 0.5, "ohm": 10.0}  # a slip of the unit is not told by next to nothing
# What a panel of 12 V has at its battery, its outputs and a bare zone, from the end of a discharge to the charger's
# volts (common practice, no source); no panel of 24 V that works has so little there.
_OF_12_V: Final = (10.0, 15.0)
_APART_SHARE, _APART_LEAST = 0.1, 0.5  # *invented*: of the larger one, and V or Ω; wide of what a meter errs
_OUTPUTS: Final = frozenset({"panel.battery+", "panel.battery-", "panel.aux+", "panel.aux-"})
LED_OHM: Final = 20.0  # below it the tenths of an ohm that two leads have are more than a meter errs; invented
# Complaints that stand there or not while one measures; the others show only in a test.
_STANDING: Final = frozenset({"", "constant_trouble", "alarm_with_nothing_there", "will_not_reset", "detectors_dark"})
_SEEN: Final = frozenset({"panel_shows", "volts", "lamp", *WALKS})


def may_be_absent(case: Case, m: Measurement) -> bool:
    """Return whether it makes sense to ask if the complaint was there: nothing is disturbed, and it can come and go."""
    return case.symptom in _STANDING and m.kind in _SEEN and m.mode.text == "standby"


def find_doubt(
    assessment: Assessment, reading: Reading, old_id: str = "", assess: Callable[[Case], Assessment] = assess_case
) -> Doubt:
    """Return whether a reading is to be asked about before it is kept; ``old_id`` is that of one it corrects.

    *Impossible*: volts that no source of the loop has. *Other panel*: volts of a panel of 12 V where one of 24 V is
    described, of which nobody gave a value; asked once. *Slip*: none of the expected answers, the same digits with
    another unit or sign are one. *Changed*: it was read before, in this state of repair, as clearly something else.
    *Improbable*: with it, a reading fits nothing any more (below 0.1 %), and without it all of them did.
    """
    case, taken = assessment.case, understand(assessment.loop, reading)
    if is_beyond(assessment.loop, taken.measurement, taken.value):
        return "impossible"
    if _is_of_12v(taken.measurement, taken.value) and not _was_asked(assessment) and is_assumed_24v(case.site):
        return "other_panel"
    if find_meant(assessment, taken.measurement, taken.value) is not None:
        return "slip"
    if reading.condition == "absent" or assessment.diagnosis.contradiction is not None:
        return ""
    if not old_id and find_other(assessment, taken.measurement, taken.value) is not None:
        return "changed"
    rest = tuple(r for r in case.readings if r.reading_id != old_id)
    stored = replace(reading, understood=build_understood(taken.value, taken.measurement.unit))
    after = assess(replace(case, readings=(*rest, stored)))
    found = after.diagnosis.contradiction
    return "improbable" if found is not None and not found.unseen else ""


def find_other(assessment: Assessment, m: Measurement, value: float | str) -> Reading | None:
    """Return the last reading of the same set-up since the last repair, if it is clearly another; or None.

    Where it is told that the fault comes and goes that is no wonder.
    """
    case = assessment.case
    begun = max((r.done_at for r in case.repairs), default=None)
    if "comes_and_goes" in case.contexts:
        return None
    for reading in reversed(case.readings):
        fresh = begun is None or (reading.taken_at is not None and reading.taken_at >= begun)
        if reading.condition == "absent" or was_told(reading) or not fresh or reading.measurement != m.kind:
            continue
        try:
            taken = understand(assessment.loop, reading)
        except DiagnosticsError:
            continue  # of another description
        if taken.measurement.set_up == m.set_up:
            return reading if _is_apart(taken.value, value) else None
    return None


def _is_apart(one: float | str, other: float | str) -> bool:
    """Return whether two values are clearly not the same: words that differ, or numbers by more than any meter errs."""
    if isinstance(one, str) or isinstance(other, str):
        return one != other
    if math.isinf(one) or math.isinf(other):
        return one != other
    return abs(one - other) > max(_APART_SHARE * max(abs(one), abs(other)), _APART_LEAST)


def _is_of_12v(m: Measurement, value: float | str) -> bool:
    """Return whether volts that no field wire can pull down are those of a panel of 12 V."""
    bare = m.mode.word == "pair_lifted" and m.red.startswith("panel.") and m.black.startswith("panel.")
    own = m.mode.text == "standby" and m.red in _OUTPUTS and m.black in _OUTPUTS
    low_v, high_v = _OF_12_V
    return m.kind == "volts" and (bare or own) and isinstance(value, float) and low_v <= abs(value) <= high_v


def _was_asked(assessment: Assessment) -> bool:
    for reading in assessment.case.readings:
        try:
            taken = understand(assessment.loop, reading)
        except DiagnosticsError:
            continue  # of another description
        if _is_of_12v(taken.measurement, taken.value):
            return True
    return False


def is_unexpected(assessment: Assessment, m: Measurement, value: float | str) -> bool:
    """Return whether a number lies well outside every answer that is expected of the suggested measurement.

    A range holds two standard deviations each way; outside is what is more than four away from all of them.
    """
    action = assessment.diagnosis.next
    some = [e for e in assessment.diagnosis.expected if e.state is None]  # a word: there is nothing to put leads on
    if isinstance(value, str) or action is None or action.measurement != m or not some:
        return False
    return all(e.low is not None and e.high is not None and not _is_near(e.low, e.high, float(value)) for e in some)


def find_meant(assessment: Assessment, m: Measurement, value: float | str) -> float | None:
    """Return which expected answer (V or Ω) has the digits of an unexpected one, with another unit or sign; or None."""
    if isinstance(value, str) or not is_unexpected(assessment, m, value):
        return None
    some = [e for e in assessment.diagnosis.expected if e.low is not None and e.high is not None]
    near = (s * value for s in _SLIPS if any(_is_near(e.low or 0.0, e.high or 0.0, s * value) for e in some))
    return next((meant for meant in near if abs(meant) >= _LEAST[m.unit]), None)


def _is_near(low: float, high: float, value: float) -> bool:
    if not math.isfinite(high - low):
        return low <= value <= high
    beyond = 0.5 * (high - low)
    return low - beyond <= value <= high + beyond


def find_last_absent(case: Case, m: Measurement) -> Reading | None:
    """Return the last reading if it was this one and the complaint was not there: it blames nobody."""
    last = case.readings[-1] if case.readings else None
    if last is None or last.condition != "absent" or not case.is_of_visit(last.taken_at):
        return None
    same = (last.measurement, last.red, last.black, last.at) == (m.kind, m.red, m.black, m.at)
    return last if same else None


def find_doubted(assessment: Assessment) -> Reading | None:
    """Return the reading that a contradiction names, or None."""
    found = assessment.diagnosis.contradiction
    if found is None:
        return None
    counted = [r for r in assessment.case.readings if r.condition != "absent"]
    return counted[found.reading]


def is_led(assessment: Assessment, m: Measurement) -> bool:
    """Return whether so few ohms may be read next that those of the meter's own leads count."""
    asked = assessment.diagnosis.next
    if m.kind != "ohms" or asked is None or asked.measurement is None or asked.measurement.key != m.key:
        return False
    return any(e.low is not None and e.low < LED_OHM for e in assessment.diagnosis.expected)


def has_standing(assessment: Assessment) -> bool:
    """Return whether the reading that a contradiction names was taken again and stands."""
    found = assessment.diagnosis.contradiction
    return found is not None and found.stands
