"""Which cautions this visit has shown in full already: later a line reminds of them, never nothing."""

from collections.abc import Iterable
from typing import Final

from diagnostics.cases import Case
from diagnostics.errors import DiagnosticsError
from diagnostics.faults import read_catalogue
from diagnostics.readings import parse_measurement
from diagnostics.wiring import Loop

from .marks import SAFETY, list_accepted, was_told

# Shown in full with every repair; the place of the repair adds others, which are shown again.
_WITH_REPAIR: Final = ("outputs", "tell_people", "outranked")
# A step that brings the first can make an alarm, or resets: these stand in full above each such step, read or not. That
# the first two were accepted before anything was measured does not count as read.
_ALARM: Final = "outputs"
_WITH_ALARM: Final = frozenset({"outputs", "tell_people"})
_IN_THE_FIELD: Final = ("det", "end")  # where a repair changes no supply
_AGAIN: Final = _WITH_ALARM | {"evidence_first"}


def list_read_cautions(case: Case, loop: Loop, wanted: Iterable[str] = ()) -> frozenset[str]:
    """Return the cautions that were accepted, or stood in full above a step that was recorded, taken back or not.

    What an earlier visit to the same case has shown does not count: that may be long ago, or somebody else.

    ``wanted`` are those of a test in hand: where it can make an alarm or resets, what that asks for is as unread.
    """
    found = {str(a.caution) for a in list_accepted(case) if a.caution in SAFETY} - _WITH_ALARM
    repairs = [r for r in case.repairs if case.is_of_visit(r.done_at)]
    every = (*case.readings, *(r.reading for r in case.retracted))
    for reading in (r for r in every if case.is_of_visit(r.taken_at) and not was_told(r)):
        try:
            found |= set(parse_measurement(reading.measurement, loop, reading.where).cautions)
        except DiagnosticsError:
            continue  # a record of another program, or another description
    again = _AGAIN if _ALARM in set(wanted) else frozenset()
    lifted = {"out_of_service"} if any(_lifts(repair.fault) for repair in repairs) else set()
    return frozenset(found.union(lifted, _WITH_REPAIR if repairs else ())) - again


def list_read_for_repair(
    case: Case, loop: Loop, repair: tuple[str, str] | None, at: Iterable[str] = ()
) -> frozenset[str]:
    """Return the cautions of a repair that were read, a class or None for one in plain words.

    ``at`` are other places where the work may be.
    Of a repair at panel, relay, supply or module, or nobody knows where, none counts as read: it changes what is fed,
    or resets. Of any other those do not that go with an alarm.
    """
    spots = repair[1].split(" + ") if repair else [""]
    if any(not spot.removeprefix("run ").startswith(_IN_THE_FIELD) for spot in (*spots, *at)):
        return frozenset()
    return list_read_cautions(case, loop, (_ALARM,))


def _lifts(repair: str) -> bool:
    """Return whether a repair took a wire or a head off; plain words may have."""
    remedies = read_catalogue().remedies
    return any(name not in remedies or remedies[name].lifts for name in repair.partition("@")[0].split(" + "))
