"""After volts that no loop has: nothing but the stop, and what is read once it is made safe."""

from collections.abc import Sequence
from dataclasses import replace

import streamlit as st

from diagnostics.cases import Case, Reading, build_reading_id
from diagnostics.reports import Words
from diagnostics.visit import build_bench, build_reading, find_measurement, record_reading, understand

from .draft import ask_text, keep
from .notices import show_stop_of
from .session import load, open_store, plain, show_button, show_messages, tell

_SAFE = "safe"  # the fields of volts to measure again once it is made safe


def show_made_safe(case: Case, words: Words, unsafe: Sequence[Reading]) -> None:
    """Show nothing but the stop, how it ends, and the ways back: nobody tests where another circuit may touch."""
    show_messages()
    for number, reading in enumerate(unsafe):
        show_stop_of(reading, words)
        m = understand(words.loop, reading).measurement
        field, form = f"{_SAFE}_{number}", f"{_SAFE} {reading.reading_id}"
        st.session_state.setdefault(form, build_reading_id())
        ask_text(plain(words.name(m)), field, tell("type_volts"))
        label = tell("unsafe_again")
        show_button(label, _record_safe, (case.case_id, case.revision, m.key, field, form), f"made_safe_{number}")


def _record_safe(case_id: str, revision: int, key: str, field: str, form: str) -> None:
    """Store what is read now that it is made safe; such volts once more are the same stop."""
    case, reading_id = load(case_id, revision), str(st.session_state.get(form, ""))
    text, m = str(st.session_state.get(field) or "").strip(), find_measurement(build_bench(case.site).loop, key)
    if m is None or not reading_id:  # a second tap: the first has recorded it
        return
    if not text:
        st.session_state["problem"] = tell("choose_first")
        return
    record_reading(open_store(), case, replace(build_reading(m, text, reading_id), condition="absent"))
    for name in (form, field):
        st.session_state.pop(name, None)
    keep(field, "")
