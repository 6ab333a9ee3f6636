"""The ways around the suggested step, each one tap from it: cannot, measured or mended already, undo."""

from collections.abc import Callable
from itertools import groupby

import streamlit as st

from diagnostics.cases import Case
from diagnostics.readings import Measurement
from diagnostics.reports import read_words
from diagnostics.visit import (
    Assessment,
    build_suggestion,
    find_measurement,
    find_skipped,
    lack_tool,
    list_missing_tools,
    skip_measurement,
    skip_measurements,
    skip_place,
    take_back_reading,
    take_up_tool,
    understand,
)

from .draft import leave_form
from .session import (
    assess,
    build_words,
    find_region,
    guarded,
    load,
    open_store,
    plain,
    show_button,
    show_note,
    tell,
    turn_to,
)

CANNOT = "cannot"
_FEW = 2  # steps left out at one place; more of them are told, and taken in again, together


def show_ways(assessment: Assessment, m: Measurement | None) -> None:
    """Show the ways around a step in little room; ``m`` is what is to be measured, None for a question of the guide."""
    case = assessment.case
    place = (case.case_id, case.revision)
    with st.container(horizontal=True, gap="xsmall", key="ways"):
        if m is not None and m.tools:
            _show_way("cannot", turn_to, (CANNOT,))
        elif m is not None:
            _show_way("cannot", _skip, (*place, m.key, True))
        _show_way("something_else", turn_to, ("other",))
        _show_way("own_repair", turn_to, ("repair",), "to_repair")
        show_undo(assessment)


def show_undo(assessment: Assessment) -> None:
    """Offer to take the last reading of this visit back, by what it said."""
    case = assessment.case
    if not case.readings or not case.is_of_visit(case.readings[-1].taken_at):
        return
    last = case.readings[-1]
    taken = understand(assessment.loop, last)
    value = plain(build_words(assessment).value(taken.measurement, taken.value))
    _show_way("undo_last", undo, (case.case_id, case.revision, last.reading_id), "undo", reading=value)


def _show_way(name: str, callback: Callable[..., None], args: tuple[object, ...], key: str = "", **told: str) -> None:
    label = tell(name, **told)
    st.button(label, key=key or name, on_click=guarded(callback, label), args=args)


def show_cannot(assessment: Assessment, m: Measurement) -> None:
    """Ask why a step cannot be done, so that the next one fits: what is missing, or where nobody gets to."""
    case, words = assessment.case, build_words(assessment)
    place = (case.case_id, case.revision)
    show_note(plain(words.name(m)))
    st.markdown(f"## {tell('cannot_why')}")
    tools = read_words(find_region()).tools
    for tool in (t for t in tools if t in m.tools):
        show_button(tell("cannot_tool", tool=tools[tool]), _lack, (*place, tool), f"lack {tool}")
    if m.place != "panel":
        show_button(tell("cannot_place", place=plain(words.place(m.place))), _skip_place, (*place, m.key), "no_access")
    show_button(tell("cannot_else"), _skip, (*place, m.key, True), "cannot_else")
    show_button(tell("back_to_next"), turn_to, ("",), "back_to_next")


def show_left_out(assessment: Assessment) -> None:
    """Show what is missing and which steps are left out; each can be taken in again."""
    case = assessment.case
    missing = list_missing_tools(case)
    skipped = [m for key in sorted(find_skipped(case)) if (m := find_measurement(assessment.loop, key))]
    if not missing and not skipped:
        return
    with st.expander(f"{tell('skipped')} ({len(missing) + len(skipped)})", key="left_out"):
        for tool in missing:
            _show_row(
                tell("without", tool=read_words(find_region()).tools[tool]), _take_up, (case, tool), f"have {tool}"
            )
        for _, some in groupby(sorted(skipped, key=lambda m: (m.place, m.key)), key=lambda m: m.place):
            _show_skipped(assessment, list(some))


def _show_skipped(assessment: Assessment, some: list[Measurement]) -> None:
    """Show the steps that are left out at one place: a few by name, many together."""
    case, words = assessment.case, build_words(assessment)
    if len(some) > _FEW:
        told = tell("skipped_place", place=plain(words.place(some[0].place)), count=str(len(some)))
        _show_row(told, _take_in, (case, tuple(m.key for m in some)), f"again {some[0].place}")
        return
    for m in some:
        _show_row(plain(words.name(m)), _take_in, (case, (m.key,)), f"again {m.key}")


def _show_row(told: str, callback: Callable[..., None], args: tuple[object, ...], key: str) -> None:
    st.markdown(told)
    label = tell("put_in_again")
    st.button(label, key=key, on_click=guarded(callback, f"{told}: {label}"), args=args)


def _skip(case_id: str, revision: int, key: str, skip: bool) -> None:  # noqa: FBT001 - callbacks take positions
    case = load(case_id, revision)
    skip_measurement(open_store(), case, key, skip=skip, suggestion=build_suggestion(assess(case)))
    _go_back()


def _skip_place(case_id: str, revision: int, key: str) -> None:
    case = load(case_id, revision)
    assessment = assess(case)
    m = find_measurement(assessment.loop, key)
    if m is not None:
        skip_place(open_store(), case, assessment.loop, m.place, suggestion=build_suggestion(assessment))
    _go_back()


def _lack(case_id: str, revision: int, tool: str) -> None:
    lack_tool(open_store(), load(case_id, revision), tool)
    _go_back()


def _take_up(case: Case, tool: str) -> None:
    take_up_tool(open_store(), load(case.case_id, case.revision), tool)


def _take_in(case: Case, keys: tuple[str, ...]) -> None:
    case = load(case.case_id, case.revision)
    skip_measurements(open_store(), case, keys, skip=False)
    _go_back()


def _go_back() -> None:
    leave_form()
    turn_to("")


def undo(case_id: str, revision: int, reading_id: str) -> None:
    """Take a reading back; it stays in the record and no longer counts."""
    take_back_reading(open_store(), load(case_id, revision), reading_id, tell("why_taken_back"))
