"""What a correction did: the case as it would stand with the reading that no longer counts."""

from dataclasses import dataclass, replace
from datetime import datetime

from diagnostics.cases import Case, Reading
from diagnostics.errors import DiagnosticsError

from .assess import build_bench, understand


@dataclass(frozen=True, slots=True)
class Change:
    """A reading that was corrected or taken back, what came in its place (None: nothing), and the case before."""

    old: Reading
    new: Reading | None
    before: Case


def find_change(case: Case) -> Change | None:
    """Return the last correction or taking back of this visit while nothing was read or repaired since, or None.

    One of a loop that is described otherwise now is not told: there is nothing to hold it against.
    """
    if not case.retracted or not case.is_of_visit(case.retracted[-1].retracted_at):
        return None
    last = case.retracted[-1]
    new = case.find_reading(last.replaced_by) if last.replaced_by else None
    since = [r.taken_at for r in case.readings if r.taken_at and r is not new] + [r.done_at for r in case.repairs]
    if (last.replaced_by and new not in case.readings) or any(at > last.retracted_at for at in since):
        return None
    try:
        understand(build_bench(case.site).loop, last.reading)
    except DiagnosticsError:
        return None
    readings = _put_in(case.readings, last.reading, new)
    return Change(last.reading, new, replace(case, readings=readings, retracted=case.retracted[:-1]))


def _put_in(readings: tuple[Reading, ...], old: Reading, new: Reading | None) -> tuple[Reading, ...]:
    """Return the readings with the old one in the place of the new one, or where it was taken."""
    if new is not None:
        return tuple(old if r is new else r for r in readings)
    later = [n for n, r in enumerate(readings) if _is_later(r.taken_at, old.taken_at)]
    at = later[0] if later else len(readings)
    return (*readings[:at], old, *readings[at:])


def _is_later(one: datetime | None, other: datetime | None) -> bool:
    return one is not None and other is not None and one > other
