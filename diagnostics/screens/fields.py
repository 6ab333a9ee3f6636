"""The fields of an answer: a number with its keys, one word, or any number of detectors; and when it was taken."""

import re

import streamlit as st

from diagnostics.readings import COUNTED, Measurement, list_tokens
from diagnostics.reports import Words

from .draft import is_set
from .session import guarded, plain, show_note, tell

_NONE = "none"
_MOST_PILLS = 13  # numbers to choose from; more are typed
_NUMBER = re.compile(r"([+−-]? ?[\d.,]+)\D*")  # not 5k6, which says its unit in between
# Keys beside the letters of a phone: what is put behind the number that was typed.
_UNITS = {"V": ("V", "mV"), "ohm": ("Ω", "kΩ", "MΩ")}


def show_field(m: Measurement, words: Words, field: str, likely: tuple[str, ...]) -> None:
    """Show the field that fits what is measured; ``field`` is its key, ``likely`` the words that come first."""
    if m.unit:
        hint = tell("type_volts" if m.unit == "V" else "type_ohms")
        st.text_input(tell("answer_number"), key=field, placeholder=hint, live=True, autocomplete="off")
        _show_keys(m, field)
        return
    tokens = list_tokens(m, words.loop)
    if is_set(m):
        _show_detectors(tuple(t for t in tokens if t != m.at), words, field, lit=m.kind == "which_lit")
        return
    if m.kind in COUNTED and len(tokens) > _MOST_PILLS:
        st.text_input(
            tell("answer_count"), key=field, placeholder=f"0–{len(tokens) - 1}", live=True, autocomplete="off"
        )
        return
    _show_words(tokens, words, field, likely)


def _show_detectors(tokens: tuple[str, ...], words: Words, field: str, *, lit: bool) -> None:
    """Show the detectors, and none: any number of them may be dark, or show alarm."""
    none, asked = ("none_lit", "answer_lit") if lit else ("none_dark", "answer_dark")
    names = {t: tell(none) if t == _NONE else plain(words.detector(t)) for t in tokens}
    st.pills(tell(asked), tokens, selection_mode="multi", key=field, wrap=True, format_func=names.__getitem__)


def _show_words(tokens: tuple[str, ...], words: Words, field: str, likely: tuple[str, ...]) -> None:
    """Show the likely words, and all of them when somebody found something else; what was chosen stays."""
    wide = st.session_state.get(f"all {field}") or len(likely) == len(tokens)
    chosen = st.session_state.get(field)
    some = tokens if wide else tuple(t for t in tokens if t in likely or t == chosen)
    names = {t: plain(words.answer(t)) for t in tokens}
    st.pills(tell("answer_word"), some, key=field, wrap=True, format_func=names.__getitem__)
    if len(likely) < len(tokens):
        st.checkbox(tell("answer_all", count=str(len(tokens))), key=f"all {field}")


def _show_keys(m: Measurement, field: str) -> None:
    """Show keys for what a phone's letters make slow: the meter's OL, the sign, the unit."""
    with st.container(horizontal=True, wrap=False, gap="small"):
        if m.unit == "ohm":
            st.button("OL", key=f"over {field}", width="stretch", on_click=guarded(_fill), args=(field, "OL"))
        else:
            st.button("±", key=f"turn {field}", width="stretch", on_click=guarded(_turn), args=(field,))
        for unit in _UNITS[m.unit]:
            st.button(unit, key=f"{unit} {field}", width="stretch", on_click=guarded(_put_unit), args=(field, unit))


def _turn(field: str) -> None:
    text = str(st.session_state.get(field) or "").strip()
    st.session_state[field] = text[1:].lstrip() if text[:1] in {"-", "−"} else f"-{text.lstrip('+')}"


def _put_unit(field: str, unit: str) -> None:
    """Put a unit behind the number, in place of one that stands there."""
    number = _NUMBER.fullmatch(str(st.session_state.get(field) or "").strip())
    if number:
        st.session_state[field] = f"{number[1]} {unit}"


def read_answer(field: str) -> str:
    """Return what was chosen or typed, as it is stored."""
    given = st.session_state.get(field)
    return ", ".join(given) if isinstance(given, list) else str(given or "").strip()


def ask_absent(field: str) -> bool:
    """Ask whether the complaint is away just now; it is there unless somebody says so."""
    absent = st.checkbox(tell("absent"), key=f"absent {field}")
    if absent:
        show_note(tell("absent_note"))
    return absent


def _fill(field: str, value: str) -> None:
    st.session_state[field] = value
