"""Volts to measure again after a repair: the field, and keeping what was read."""

import streamlit as st

from diagnostics.cases import Case, build_reading_id
from diagnostics.errors import DiagnosticsError
from diagnostics.readings import Measurement, parse_value
from diagnostics.reports import Words
from diagnostics.visit import (
    ProofItem,
    build_bench,
    find_hidden,
    find_measurement,
    is_beyond,
    list_proof,
    record_recheck,
    simulate_now,
)

from .asked import ask, leave
from .draft import ask_text, keep
from .notices import show_beyond
from .session import guarded, load, open_store, plain, show_alert, show_button, show_note, tell, write_problem

REREAD = "reread"  # the field of volts to measure again, and the name of their form


def ask_reading(case: Case, number: int, item: ProofItem, words: Words) -> None:
    """Ask what the meter shows now; it is kept as a reading, and held against a sound loop."""
    m = find_measurement(words.loop, item.at)
    if m is None:
        return
    st.session_state.setdefault(f"{REREAD} {item.at}", build_reading_id())
    if find_hidden(case) is not None:
        shown = simulate_now(case, words.loop, m)
        show_button(tell("demo_use", value=plain(shown)), _fill_reading, (number, shown), f"reread_use_{number}")
    text = ask_text(tell("answer_number"), f"{REREAD}_{number}", tell("type_volts"))
    show_understood(words, m, text)
    args = (case.case_id, case.revision, item.key, number)
    with st.container(horizontal=True):
        st.button(
            tell("test_record"),
            key=f"test_record_{number}",
            width="stretch",
            on_click=guarded(_record, f"{plain(words.name(m))}: {tell('test_record')}"),
            args=args,
        )
        st.button(tell("test_not"), key=f"test_not_{number}", width="stretch", on_click=guarded(ask), args=(item.key,))


def show_understood(words: Words, m: Measurement, text: str) -> None:
    """Say what is understood of volts that are typed, before they are stored; volts that no loop has are a stop."""
    if not text:
        return
    try:
        value = parse_value(m, words.loop, text)
    except DiagnosticsError as error:
        show_alert("warning", write_problem(error))
        return
    show_note(tell("understood", value=plain(words.value(m, value))))
    if is_beyond(words.loop, m, value):
        show_beyond(words, m, value)


def _fill_reading(number: int, text: str) -> None:
    st.session_state[f"{REREAD}_{number}"] = text


def _record(case_id: str, revision: int, key: str, number: int) -> None:
    """Store what was measured again; said twice it is stored once: by then the form has no name any more."""
    case, field = load(case_id, revision), f"{REREAD}_{number}"
    item = next((i for i in list_proof(case, build_bench(case.site).loop) if i.key == key), None)
    form = f"{REREAD} {item.at}" if item else ""
    reading_id, text = str(st.session_state.get(form, "")), str(st.session_state.get(field) or "").strip()
    if item is None or not reading_id:  # a second tap: the first has recorded it
        return
    if not text:
        st.session_state["problem"] = tell("choose_first")
        return
    record_recheck(open_store(), case, item, text, reading_id)
    for name in (form, field):
        st.session_state.pop(name, None)
    keep(field, "")
    leave(key)
