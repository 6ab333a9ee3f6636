"""After volts that no loop has: nothing but the stop, what is read once it is made safe, and what was mistyped."""

from collections.abc import Sequence
from dataclasses import replace

import streamlit as st

from diagnostics.cases import Case, Reading, build_reading_id
from diagnostics.readings import Measurement
from diagnostics.reports import Words, tell_read
from diagnostics.visit import (
    build_bench,
    build_reading,
    correct_reading,
    find_listener,
    find_measurement,
    record_reading,
    understand,
)

from .draft import CORRECTING, ask_text, find_kept, keep
from .notices import show_stop_of
from .reread import show_understood
from .session import load, open_store, plain, show_alert, show_button, show_messages, tell

_SAFE = "safe"  # the fields of volts to measure again once it is made safe
_CORRECTED, _NEW_ID = "safe_volts", "safe_volts id"  # what was meant, and the reading that it becomes


def show_made_safe(case: Case, words: Words, unsafe: Sequence[Reading]) -> None:
    """Show nothing but the stop, how it ends, and the ways back: nobody tests where another circuit may touch."""
    show_messages()
    for number, reading in enumerate(unsafe):
        show_stop_of(reading, words)
        m = understand(words.loop, reading).measurement
        if find_kept(CORRECTING) == reading.reading_id:
            _ask_correction(case, words, reading, m)
            continue
        if find_listener(case) == "technician":  # a caller measures nothing
            field, form = f"{_SAFE}_{number}", f"{_SAFE} {reading.reading_id}"
            st.session_state.setdefault(form, build_reading_id())
            ask_text(plain(words.name(m)), field, tell("type_volts"))
            args = (case.case_id, case.revision, m.key, field, form)
            show_button(tell("unsafe_again"), _record_safe, args, f"made_safe_{number}")
        show_button(tell("correct_it"), keep, (CORRECTING, reading.reading_id), f"safe_correct_{number}")


def _ask_correction(case: Case, words: Words, reading: Reading, m: Measurement) -> None:
    """Ask what was meant by a value that was mistyped: the old one stays in the record and no longer counts."""
    with st.container(border=True, key="correcting"):
        show_alert("info", f"{tell('correcting')} {tell('contradiction_was', value=plain(tell_read(reading, words)))}")
        st.session_state.setdefault(_NEW_ID, build_reading_id())
        text = ask_text(plain(words.name(m)), _CORRECTED, tell("type_volts"))
        show_understood(words, m, text)
        args = (case.case_id, case.revision, m.key, reading.reading_id)
        show_button(tell("record"), _record_correction, args, "safe_corrected")
        show_button(tell("back"), _leave_correction, (), "safe_correct_back")


def _record_correction(case_id: str, revision: int, key: str, old_id: str) -> None:
    """Store what was meant in the place of what was typed; it was read at the same moment of the same loop."""
    case, text = load(case_id, revision), str(st.session_state.get(_CORRECTED) or "").strip()
    new_id, old = str(st.session_state.get(_NEW_ID, "")), case.find_reading(old_id)
    m = find_measurement(build_bench(case.site).loop, key)
    if m is None or old is None or not new_id:  # a second tap: the first has recorded it
        return
    if not text:
        st.session_state["problem"] = tell("choose_first")
        return
    meant = replace(build_reading(m, text, new_id, old.by), condition=old.condition, taken_at=old.taken_at)
    correct_reading(open_store(), case, old_id, meant)
    _leave_correction()


def _leave_correction() -> None:
    for name in (_NEW_ID, _CORRECTED):
        st.session_state.pop(name, None)
    keep(_CORRECTED, "")
    keep(CORRECTING, "")


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
