"""What this person cannot do: tools that are missing, places that nobody gets to; and that they can after all."""

from dataclasses import replace
from datetime import UTC, datetime
from typing import Final, get_args

from diagnostics.cases import Acknowledgement, Case, CaseStore, Suggestion
from diagnostics.readings import Tool, list_measurements
from diagnostics.wiring import Loop

from .deeds import skip_measurements, tell_complaint
from .listener import Listener, find_listener, name_listener

TOOLS: Final[tuple[str, ...]] = get_args(Tool)


def list_missing_tools(case: Case) -> tuple[str, ...]:
    """Return the tools that this person does not have; a case that says nothing of them has them all."""
    return () if case.can is None else tuple(t for t in TOOLS if t not in case.can)


def lack_tool(store: CaseStore, case: Case, tool: str) -> Case:
    """Note that a tool is missing: what needs it is no longer suggested."""
    return _bring(store, case, tuple(t for t in TOOLS if t != tool and (case.can is None or t in case.can)))


def take_up_tool(store: CaseStore, case: Case, tool: str) -> Case:
    """Note that a tool is at hand after all."""
    return _bring(store, case, tuple(t for t in TOOLS if t == tool or case.can is None or t in case.can))


def hand_over(store: CaseStore, case: Case, listener: Listener) -> Case:
    """Note who is asked from now on; whoever that is says anew what is at hand."""
    if find_listener(case) == listener:
        return case
    given = Acknowledgement(name_listener(listener), datetime.now(UTC))
    outline = replace(case.outline, can=None)
    return store.append_outline(case.case_id, outline, case.revision, given)


def _bring(store: CaseStore, case: Case, can: tuple[str, ...]) -> Case:
    return tell_complaint(store, case, case.symptom, case.contexts, can)


def skip_place(store: CaseStore, case: Case, loop: Loop, place: str, *, suggestion: Suggestion | None = None) -> Case:
    """Leave out every measurement for which one must get to a place; what is seen from the floor stays."""
    some = [m.key for m in list_measurements(loop) if m.place == place and "ladder" in m.tools]
    return skip_measurements(store, case, some, suggestion=suggestion)
