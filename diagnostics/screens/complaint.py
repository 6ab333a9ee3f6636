"""The complaint: what is wrong, what is known of the loop's past, what this person has at hand."""

import streamlit as st

from diagnostics.cases import Case
from diagnostics.faults import CONTEXTS
from diagnostics.reasoning import SYMPTOMS, find_symptom
from diagnostics.reports import read_words
from diagnostics.visit import tell_complaint

from .session import find_view, load, open_store, show_button, show_main_button, show_messages, tell, turn_to

_OTHER = "other_symptom"


def show_complaint(case: Case) -> None:
    """Ask for the complaint; what was said before is filled in."""
    words = read_words()
    st.title(tell("complaint_title"), anchor=False)
    names = {s: find_symptom(s).about for s in SYMPTOMS} | {_OTHER: tell(_OTHER)}
    options = list(names)
    st.radio(
        tell("q_symptom"), options, key="symptom", index=options.index(case.symptom) if case.symptom else 0,
        format_func=names.__getitem__,
    )  # fmt: skip
    st.pills(
        tell("q_context"), CONTEXTS, selection_mode="multi", default=[c for c in CONTEXTS if c in case.contexts],
        format_func=dict(words.contexts).__getitem__, key="contexts",
    )  # fmt: skip
    tools = list(words.tools)
    st.pills(
        tell("q_tools"), tools, selection_mode="multi", format_func=dict(words.tools).__getitem__, key="tools",
        default=tools if case.can is None else [t for t in tools if t in case.can],
    )  # fmt: skip
    show_messages()
    if find_view() == "complaint":
        show_button(tell("back"), turn_to, ("",), "complaint_back")
    show_main_button(tell("complaint_use"), _use, (case.case_id, case.revision), "complaint_use")


def _use(case_id: str, revision: int) -> None:
    symptom = str(st.session_state.get("symptom") or _OTHER)
    contexts, tools = (tuple(st.session_state.get(key) or ()) for key in ("contexts", "tools"))
    tell_complaint(open_store(), load(case_id, revision), "" if symptom == _OTHER else symptom, contexts, tools)
    turn_to("")
