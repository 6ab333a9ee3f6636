"""One answer: the form for one measurement, what was understood of it, and how it is recorded."""

from dataclasses import replace
from datetime import UTC, datetime

import streamlit as st

from diagnostics.cases import Reading, build_reading_id
from diagnostics.errors import DiagnosticsError
from diagnostics.readings import LISTED, Measurement, list_tokens, parse_value
from diagnostics.reports import Words, format_wait
from diagnostics.visit import (
    Assessment,
    build_reading,
    correct_reading,
    find_hidden,
    find_measurement,
    find_wait_s,
    is_too_early,
    record_reading,
    simulate_reading,
    start_clock,
)

from .session import (
    assess,
    build_words,
    guarded,
    load,
    open_store,
    plain,
    show_alert,
    show_main_button,
    show_messages,
    show_note,
    tell,
    turn_to,
    write_problem,
)

_NONE = "none"
_CLOCK = ":material/timer:"


def show_answer(assessment: Assessment, m: Measurement, old: Reading | None = None) -> None:
    """Show the form for one measurement; ``old`` is the reading that it corrects."""
    case, words = assessment.case, build_words(assessment)
    form = f"form {case.case_id} {m.key} {old.reading_id if old else ''}"
    reading_id = str(st.session_state.setdefault(form, build_reading_id()))
    field = f"answer {reading_id}"
    _show_hidden(assessment, m, field)
    _show_clock(assessment, m)
    _show_field(m, words, field)
    text = _write_answer(field)
    value = _understand(m, words, text)
    show_messages()
    if value is not None and is_too_early(m, value, find_wait_s(case, m)):
        left = format_wait(find_wait_s(case, m) or 0.0)
        show_alert("warning", tell("too_early", left=left))
    label = tell("record") if value is None else tell("record_value", value=plain(words.value(m, value)))
    place = (case.case_id, case.revision)
    show_main_button(label, _record, (*place, m.key, form, old.reading_id if old else ""), "record")


def _show_field(m: Measurement, words: Words, field: str) -> None:
    if m.unit:
        hint = tell("type_volts" if m.unit == "V" else "type_ohms")
        st.text_input(tell("answer_number"), key=field, placeholder=hint, live=True, autocomplete="off")
        if m.unit == "ohm":
            st.button(tell("meter_over"), key=f"over {field}", on_click=guarded(_fill), args=(field, "OL"))
        return
    tokens = list_tokens(m, words.loop)
    if m.kind in LISTED:
        tokens = tuple(t for t in tokens if t != m.at)
        lit = m.kind == "which_lit"
        none = tell("none_lit") if lit else tell("none_dark")
        names = {t: none if t == _NONE else plain(words.detector(t)) for t in tokens}
        st.pills(
            tell("answer_lit") if lit else tell("answer_dark"),
            tokens,
            selection_mode="multi",
            key=field,
            wrap=True,
            format_func=names.__getitem__,
        )
        return
    names = {t: plain(words.answer(t)) for t in tokens}
    st.pills(tell("answer_word"), tokens, key=field, wrap=True, format_func=names.__getitem__)


def _write_answer(field: str) -> str:
    """Return what was chosen or typed, as it is stored."""
    given = st.session_state.get(field)
    return ", ".join(given) if isinstance(given, list) else str(given or "").strip()


def _understand(m: Measurement, words: Words, text: str) -> float | str | None:
    """Say what was understood before anything is saved; None while there is nothing, or nothing that can be used."""
    if not text:
        return None
    try:
        value = parse_value(m, words.loop, text)
    except DiagnosticsError as error:
        show_alert("warning", write_problem(error))
        return None
    show_alert("success", tell("understood", value=f"**{plain(words.value(m, value))}**"))
    return value


def _record(case_id: str, revision: int, key: str, form: str, old_id: str) -> None:
    store, reading_id = open_store(), str(st.session_state.get(form, ""))
    if not reading_id:  # a second tap: the first has recorded it
        return
    case, text = load(case_id, revision), _write_answer(f"answer {reading_id}")
    m = find_measurement(assess(store.load_case(case_id)).loop, key)
    if m is None or (not text and not m.unit):
        st.session_state["problem"] = tell("choose_first")
        return
    st.session_state["asked"] = key  # if somebody else was faster, the form stays as it is
    reading = replace(build_reading(m, text, reading_id), taken_at=datetime.now(UTC))
    if old_id:
        correct_reading(store, case, old_id, reading)
    else:
        record_reading(store, case, reading)
    for name in (form, "asked", "correcting"):
        st.session_state.pop(name, None)
    turn_to("")


def _fill(field: str, value: str) -> None:
    st.session_state[field] = value


def _show_hidden(assessment: Assessment, m: Measurement, field: str) -> None:
    """In an invented case, say what would be found, and offer to take it."""
    hidden = find_hidden(assessment.case)
    if hidden is None:
        return
    words = build_words(assessment)
    text = simulate_reading(assessment.loop, hidden, m)
    value = parse_value(m, assessment.loop, text)
    show_alert("info", f"{tell('demo_answer')}: **{plain(words.value(m, value))}**")
    chosen: object = text.split(",") if m.kind in LISTED else text
    st.button(tell("demo_use"), key=f"use {field}", on_click=guarded(_take), args=(field, chosen), width="stretch")


def _take(field: str, chosen: object) -> None:
    st.session_state[field] = chosen


def _show_clock(assessment: Assessment, m: Measurement) -> None:
    """Show the settling time: a start button, the countdown, or that it is over."""
    if not m.data.settling:
        return
    case = assessment.case
    wait_s = find_wait_s(case, m)
    if wait_s is None:
        whole = format_wait(m.data.settling)
        show_note(tell("clock_why", wait=whole))
        st.button(
            tell("clock_start", wait=whole), icon=_CLOCK, key=f"clock {m.key}", width="stretch",
            on_click=guarded(_start_clock), args=(case.case_id, case.revision, m.key),
        )  # fmt: skip
        return
    tick = 1.0 if wait_s else None
    st.fragment(_show_time_left, run_every=tick)(assessment, m)


def _show_time_left(assessment: Assessment, m: Measurement) -> None:
    wait_s = find_wait_s(assessment.case, m)
    if wait_s:
        st.markdown(f"{_CLOCK} **{tell('clock_left', left=format_wait(wait_s))}**")
    else:
        st.markdown(f"{_CLOCK} {tell('clock_over')}")


def _start_clock(case_id: str, revision: int, key: str) -> None:
    start_clock(open_store(), load(case_id, revision), key)
