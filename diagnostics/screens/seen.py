"""What was seen at a repair by whoever made it: one tap, never forced, said anew at any time."""

from collections.abc import Sequence

import streamlit as st

from diagnostics.cases import SAW, Case, Repair
from diagnostics.reports import Words, is_other_found, tell_mended, tell_other_found
from diagnostics.visit import note_seen

from .draft import ask_text, recall
from .session import guarded, load, open_store, plain, show_alert, show_button, show_note, tell

_OTHER = "seen_other"  # the field for what else it was
_AS, _OF = "as_suspected", "as_suspected "  # as suspected; or, where it is one of several, which of them


def ask_seen(case: Case, words: Words) -> None:
    """Ask what was seen at the last repair, where it was for something that had been suspected."""
    number = len(case.repairs) - 1
    repair = case.repairs[number] if case.repairs else None
    if repair is None or not repair.suspected or repair.cured is None:
        return
    field = f"seen {number}"
    names = _name_answers(repair, words)
    said = _OF + repair.found if repair.saw == _AS and len(repair.suspected) > 1 else repair.saw
    st.session_state[field] = said if said in names else None
    place = (case.case_id, case.revision, number)
    with st.container(border=True, key="seen"):
        label = tell("seen_title")
        st.pills(
            label, list(names), key=field, wrap=True, format_func=names.__getitem__,
            on_change=guarded(_note, label), args=(*place, field),
        )  # fmt: skip
        if repair.saw == "other":
            recall(_OTHER, (), repair.found)
            ask_text(tell("seen_other_what"), _OTHER, tell("seen_other_hint"))
            show_button(tell("seen_other_keep"), _note_other, place, "seen_other_keep")
        elif not repair.saw:
            show_note(tell("seen_note"))


def _name_answers(repair: Repair, words: Words) -> dict[str, str]:
    """Return what can be said, in words; of several that were suspected each by its name."""
    several = repair.suspected if len(repair.suspected) > 1 else ()
    told = {_OF + one: tell("seen_which", fault=plain(tell_mended(one, words))) for one in several}
    return {**(told or {_AS: tell("seen_as_suspected")}), "other": tell("seen_other"), "nothing": tell("seen_nothing")}


def _note(case_id: str, revision: int, number: int, field: str) -> None:
    """Store what was tapped; a tap on what is chosen takes it back."""
    word, _, found = str(st.session_state.get(field) or "").partition(" ")
    note_seen(open_store(), load(case_id, revision), number, next(s for s in SAW if s == word), found)


def _note_other(case_id: str, revision: int, number: int) -> None:
    text = str(st.session_state.get(_OTHER) or "").strip()
    note_seen(open_store(), load(case_id, revision), number, "other", text)


def show_other_found(repairs: Sequence[Repair], words: Words) -> None:
    """Say plainly of which repairs something else was seen than had been suspected."""
    for repair in repairs:
        if is_other_found(repair):
            show_alert("warning", plain(tell_other_found(repair, words)))
