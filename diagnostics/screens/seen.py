"""What was seen at a repair by whoever made it, and what a meter shows of what came out: never forced, said anew."""

import streamlit as st

from diagnostics.cases import SAW, Case, Repair
from diagnostics.faults import Way
from diagnostics.reasoning import asks_diode
from diagnostics.reports import (
    Words,
    is_other_found,
    list_causes_unknown,
    tell_cause,
    tell_foreseen,
    tell_mended,
    tell_other_found,
)
from diagnostics.visit import find_listener, is_live, list_to_measure, note_out, note_seen

from .draft import ask_text, find_kept, keep, recall
from .session import guarded, load, open_store, plain, show_alert, show_button, show_cautions, show_note, tell

# Fields for what came out, of each repair by its number: one way, turned, and on the diode range.
_FIELDS = ("out_one", "out_turned", "out_diode")
_WAYS: dict[Way, str] = {
    "across": "out_across", "along": "out_along", "between": "out_between", "to_earth": "out_to_earth"
}  # fmt: skip
_OTHER = "seen_other"  # the field for what else it was
_AS, _OF = "as_suspected", "as_suspected "  # as suspected; or, where it is one of several, which of them


def ask_seen(case: Case, words: Words) -> None:
    """Ask what was seen at the last repair, where it was for something that had been suspected."""
    number = len(case.repairs) - 1
    repair = case.repairs[number] if case.repairs else None
    if repair is None or not repair.suspected or repair.cured is None or repair.saw == "right":
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
        if find_listener(case) == "technician":
            _ask_out(case, repair, words, place)
        _tell_out(case, repair, words)


def _ask_out(case: Case, repair: Repair, words: Words, place: tuple[str, int, int]) -> None:
    """Ask what the meter shows of what came out, where it could tell anything; it may be left."""
    asked = list_to_measure(case, repair)
    if not asked:
        return
    fields = _name_fields(place[2])
    one, turned, *_ = *(each.value for each in repair.out), "", ""
    typed = (one, turned, "" if repair.diode is None else repair.diode.value)
    shown = _FIELDS if repair.diode is not None or asks_diode(asked) else _FIELDS[:2]
    begun = bool(repair.out or any(find_kept(name) for name in fields))
    with st.expander(plain(tell("out_title", ranges=tell_foreseen(asked, words))), expanded=begun):
        st.markdown(f"{tell(_WAYS[asked[0].way or 'along'])} {tell('out_same')}")
        show_cautions(("free_part",))
        for name, text, label in zip(fields, typed, shown, strict=False):
            recall(name, (), text)
            hint = tell("out_diode_hint" if label == "out_diode" else "out_one_hint")
            if ask_text(tell(label), name, hint, 60) == text:
                keep(name, "")  # what is stored is read from the case: an address may be older than that
        show_button(tell("out_keep"), _note_out, place, "out_keep")


def _tell_out(case: Case, repair: Repair, words: Words) -> None:
    """Say whether what came out fits; volts that it shows by itself with their caution, whoever reads it."""
    told = tell_cause(case, repair, words)
    if is_live(repair):
        show_cautions(("foreign_volts",))
    if told is not None:
        show_alert("success" if told[0] == "fits" else "warning", plain(told[1]))


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


def _name_fields(number: int) -> tuple[str, ...]:
    return tuple(f"{field}_{number}" for field in _FIELDS)


def _note_out(case_id: str, revision: int, number: int) -> None:
    """Store what was typed of what came out; empty fields take it back."""
    one, turned, diode = (str(st.session_state.get(name) or "") for name in _name_fields(number))
    note_out(open_store(), load(case_id, revision), number, one, turned, diode)


def show_other_found(case: Case, words: Words) -> None:
    """Say plainly of which repairs what was seen, or what came out, is not what had been suspected."""
    others = [tell_other_found(repair, words) for repair in case.repairs if is_other_found(repair)]
    for told in (*others, *list_causes_unknown(case, words)):
        show_alert("warning", plain(told))
