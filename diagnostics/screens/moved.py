"""When a case has moved on under a page: what came in between, what was not stored, and what was typed and is not lost.

Two people, or two tabs, may have the same case before them. Whatever is shown was read at one revision; what is written
is written to that one or refused by the store. Nothing that was typed leaves the screen without a word.
"""

import streamlit as st

from diagnostics.cases import Case, CaseStore
from diagnostics.reports import Words, tell_changes
from diagnostics.visit import build_bench, find_measurement
from diagnostics.wiring import Loop

from .draft import DRAFT, LEAVING, PACKED, find_draft, find_draft_owner, find_kept, forget, list_undrawn, was_drawn
from .packed import unpack
from .session import (
    NOT_STORED,
    SEEN,
    bring_into_view,
    find_region,
    guarded,
    plain,
    show_alert,
    show_messages,
    tell,
)

# Fields of several screens, each with the words under which it is asked for.
_FIELDS = {
    "told": "told_who", "closed_by": "closed_by", "note": "note", "why": "test_why", "own_repair": "own_repair_what",
    "room_typed": "room_title",
    **{q: q for q in ("q_detectors", "q_panel_resistor", "q_resistor", "q_cable", "q_run", "q_rooms", "q_name")},
}  # fmt: skip
_REREAD, _LEFT = "reread_", "left "


def note_others(store: CaseStore, case: Case) -> None:
    """See whether the case has moved on since this page showed it last, other than by this page; then say so."""
    seen, not_stored = st.session_state.get(SEEN), st.session_state.pop(NOT_STORED, None)
    st.session_state[SEEN] = (case.case_id, case.revision)
    since = seen[1] if seen and seen[0] == case.case_id else case.revision
    bodies = store.list_changes(case.case_id, since) if case.revision > since else ()
    if not bodies and not_stored is None:
        return
    words = Words(build_bench(case.site).loop, region=find_region())
    lines = "\n".join(f"- {plain(line)}" for line in tell_changes(bodies, words))
    told = [f"**{tell('changed_title')}**", lines]
    told += [f"**{tell('changed_not_stored', what=not_stored)}**"] if not_stored else []
    st.session_state["changed"] = "\n\n".join(filter(None, [*told, tell("changed_note")]))


def show_moved(case: Case | None) -> None:
    """Show, above the screen that has just been drawn, what came in between and what is typed and not on it."""
    changed, rest = st.session_state.pop("changed", ""), _list_unsaved(case) if case else []
    if changed:
        with st.container(key="moved"):
            show_alert("warning", changed)
        bring_into_view("moved", f"{case.case_id} {case.revision} {changed}" if case else changed)
    if rest:
        with st.container(key="unsaved"):
            lines = "\n".join(f"- {plain(label)}: **{plain(text)}**" for label, text in rest)
            show_alert("warning", f"**{tell('unsaved_title')}**\n\n{lines}\n\n{tell('unsaved_note')}")
            st.button(tell("unsaved_drop"), key="unsaved_drop", on_click=guarded(_drop))
    show_messages()  # what no other place on this screen has shown


def _list_unsaved(case: Case) -> list[tuple[str, str]]:
    """Return what is typed, is not stored, and has no field on this screen, each with what it answers.

    How an open case is left is still to be told: it waits for its screen.
    """
    found = []
    loop = build_bench(case.site).loop
    for name in list_undrawn():
        if name in LEAVING and not case.closing:
            continue
        label = _name_field(name, loop)
        text = unpack(find_kept(name)) if name in PACKED else find_kept(name)
        if label and text.strip():
            found.append((label, text.strip()))
    owner = find_draft_owner()
    text = find_draft(owner)[0]
    m = find_measurement(loop, owner)
    if m is not None and text and not was_drawn(DRAFT):
        words = Words(loop, region=find_region())
        known = [words.answer(t) if t in words.table.answers or t.startswith("det") else t for t in text.split(", ")]
        found.append((words.name(m), ", ".join(known)))
    return found


def _name_field(name: str, loop: Loop) -> str:
    """Return what a field asks for, or an empty text: it is none that is typed into."""
    if name.startswith(_REREAD):
        return tell("answer_number")
    if name.startswith(_LEFT):
        m = find_measurement(loop, name.removeprefix(_LEFT))
        return Words(loop, region=find_region()).name(m) if m else ""
    return tell(_FIELDS[name]) if name in _FIELDS else ""


def _drop() -> None:
    """Let go of what was typed and has no field any more."""
    forget()
