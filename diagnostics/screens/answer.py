"""One answer: the form for one measurement, what was understood of it, and how it is recorded."""

from dataclasses import replace
from datetime import UTC, datetime

import streamlit as st

from diagnostics.cases import Case, Condition, Reading, Suggestion, build_reading_id
from diagnostics.errors import DiagnosticsError
from diagnostics.readings import Measurement, parse_value
from diagnostics.reports import Words, format_wait
from diagnostics.units import format_quantity
from diagnostics.visit import (
    Assessment,
    build_beside,
    build_reading,
    build_suggestion,
    correct_reading,
    find_doubt,
    find_hidden,
    find_meant,
    find_measurement,
    find_most_v,
    find_other,
    find_wait_s,
    is_led,
    is_panel_12v,
    is_settled_already,
    is_too_early,
    is_unclocked,
    is_unexpected,
    list_likely_answers,
    may_be_absent,
    record_reading,
    simulate_now,
    start_clock,
    tell_place,
    understand,
)

from .draft import (
    ASKED,
    CORRECTING,
    ask_text,
    find_list,
    is_set,
    keep,
    keep_draft,
    keep_list,
    leave_form,
    restore_draft,
)
from .fields import ask_absent, read_answer, show_field
from .session import (
    assess,
    bring_into_view,
    build_words,
    guarded,
    leave_unwritten,
    load,
    open_store,
    plain,
    show_alert,
    show_button,
    show_main_button,
    show_messages,
    show_note,
    tell,
    turn_to,
    write_problem,
)

_CLOCK = ":material/timer:"
_DOUBTS = {
    "early": "doubt_early", "unclocked": "doubt_unclocked", "impossible": "doubt_impossible",
    "other_panel": "doubt_other_panel", "slip": "doubt_slip", "changed": "doubt_changed",
    "improbable": "doubt_improbable",
}  # fmt: skip


def show_answer(
    assessment: Assessment, m: Measurement, old: Reading | None = None, beside: tuple[str, ...] = ()
) -> None:
    """Show the form for one measurement.

    ``old`` is the reading that it corrects; ``beside`` are the keys of what is read on the same ladder.
    """
    case, words = assessment.case, build_words(assessment)
    form = f"form {case.case_id} {m.key} {old.reading_id if old else ''}"
    reading_id = str(st.session_state.setdefault(form, build_reading_id()))
    field = f"answer {reading_id}"
    if old is not None:
        st.session_state.setdefault(f"absent {field}", old.condition == "absent")
    restore_draft(words.loop, m, field)
    _show_hidden(assessment, m, field)
    _show_first(assessment, m)
    show_field(m, words, field, list_likely_answers(assessment, m))
    _show_room(assessment, m)
    absent = may_be_absent(case, m) and ask_absent(field)
    text = read_answer(field)
    keep_draft(m.key, field, text, absent=absent)
    value = _understand(m, words, text)
    if value is not None and is_unexpected(assessment, m, value) and _find_asked(reading_id) != "slip":
        meant = find_meant(assessment, m, value)
        would = None if meant is None else plain(words.value(m, meant))
        show_alert("warning", tell("unexpected_slip", meant=would) if would else tell("unexpected"))
    show_messages()
    args = (case.case_id, case.revision, m.key, form, old.reading_id if old else "", beside)
    if value is not None and _show_doubt(assessment, m, value, reading_id, args):
        _show_other_way(case, m, field)
        return
    if value is not None and is_too_early(case, m, value):
        show_alert("warning", tell("too_early", left=format_wait(find_wait_s(case, m) or 0.0)))
    key = "record_word" if isinstance(value, str) else "record_value"
    shown = tell("record") if value is None else tell(key, value=plain(words.value(m, value)))
    show_main_button(shown, _record, args, "record")


def _show_first(assessment: Assessment, m: Measurement) -> None:
    """Show what comes before the reading: a clock where time has to pass, and the meter's own leads."""
    _show_clock(assessment, m)
    if is_led(assessment, m):
        show_note(tell("leads_together"))


def _show_room(assessment: Assessment, m: Measurement) -> None:
    """Ask which room a detector is in that was looked for along the cable; it may be left out."""
    chain = assessment.loop.find_chain(m.place)
    if not m.is_sought or chain is None:
        return
    case, rooms = assessment.case, list(chain.spec.rooms_left)
    with st.container(border=True):
        st.markdown(f"**{tell('room_title')}**")
        if rooms:
            st.pills(
                tell("room_title"), rooms, key="room_of", wrap=True, format_func=plain, label_visibility="collapsed"
            )
        ask_text(tell("room_type" if rooms else "room_title"), "room_typed", "", 120)
        show_button(tell("room_note"), _note_room, (case.case_id, case.revision, m.place), "room_note")


def _note_room(case_id: str, revision: int, place: str) -> None:
    room = str(st.session_state.get("room_typed") or st.session_state.get("room_of") or "").strip()
    if not room:
        st.session_state["problem"] = tell("room_needed")
        return
    tell_place(open_store(), load(case_id, revision), place, room)
    keep("room_typed", "")
    for key in ("room_typed", "room_of"):
        st.session_state[key] = None


def _show_doubt(
    assessment: Assessment, m: Measurement, value: float | str, reading_id: str, args: tuple[object, ...]
) -> bool:
    """Ask about a doubtful reading before it is kept; return whether there is one."""
    doubt = _find_asked(reading_id)
    if not doubt:
        return False
    words = build_words(assessment)
    shown = plain(words.value(m, value))
    other = find_other(assessment, m, value) if doubt == "changed" else None
    before = plain(words.value(m, understand(words.loop, other).value)) if other else ""
    meant = plain(words.value(m, find_meant(assessment, m, value) or 0.0)) if doubt == "slip" else ""
    most = format_quantity(find_most_v(words.loop), "V", 2)
    kept = "doubt_waited" if doubt in {"early", "unclocked"} else "doubt_keep"
    with st.container(key="doubt"):
        key = "doubt_words" if doubt == "improbable" and not m.unit else _DOUBTS[doubt]
        show_alert("warning", tell(key, value=shown, most=most, meant=meant, before=before))
        small = doubt == "impossible" and is_panel_12v(words.loop.site)
        if small:
            show_note(tell("doubt_of_24_v"))
        if small or doubt == "other_panel":
            show_button(tell("describe_again"), turn_to, ("describe",), "doubt_describe")
        show_button(tell(kept, value=shown), _keep, args, "doubt_keep")
    bring_into_view("doubt", str(st.session_state["doubt"]))
    return True


def _find_asked(reading_id: str) -> str:
    """Return as what the reading as it is typed is asked about before it is kept; empty where it is not."""
    doubt, _, of = str(st.session_state.get("doubt", "")).partition(" ")
    return doubt if of == f"{reading_id} {read_answer(f'answer {reading_id}')}" else ""


def _show_other_way(case: Case, m: Measurement, field: str) -> None:
    """Offer what to do instead of keeping a doubtful reading: wait for it, or take it again."""
    doubt = str(st.session_state["doubt"]).partition(" ")[0]
    if doubt == "unclocked":
        wait = tell("clock_start", wait=format_wait(m.data.settling))
        show_main_button(wait, _wait_for_it, (case.case_id, case.revision, m.key, field), "take_again")
        return
    show_main_button(tell("doubt_wait" if doubt == "early" else "doubt_again"), _take_again, (field,), "take_again")


def _take_again(field: str) -> None:
    """Empty the field: the reading is taken anew."""
    st.session_state.pop("doubt", None)
    st.session_state[field] = [] if isinstance(st.session_state.get(field), list) else None


def _wait_for_it(case_id: str, revision: int, key: str, field: str) -> None:
    """Empty the field and start the clock: what is read counts once it is over."""
    _take_again(field)
    _start_clock(case_id, revision, key)


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


def _record(case_id: str, revision: int, key: str, form: str, old_id: str, beside: tuple[str, ...]) -> None:
    _save((case_id, revision), key, form, old_id, beside)


def _keep(case_id: str, revision: int, key: str, form: str, old_id: str, beside: tuple[str, ...]) -> None:
    """Record in spite of the doubt."""
    _save((case_id, revision), key, form, old_id, beside, doubting=False)


def _save(
    place: tuple[str, int], key: str, form: str, old_id: str, beside: tuple[str, ...], *, doubting: bool = True
) -> None:
    store, reading_id = open_store(), str(st.session_state.get(form, ""))
    if not reading_id:  # a second tap: the first has recorded it
        return
    case, text = load(*place), read_answer(f"answer {reading_id}")
    assessment = assess(case)
    m = find_measurement(assessment.loop, key)
    if m is None or (not text and not m.unit):
        st.session_state["problem"] = tell("choose_first")
        return
    keep(CORRECTING if old_id else ASKED, old_id or key)  # if somebody else was faster, the form stays as it is
    reading = _build(case, m, text, reading_id)
    doubt = _find_doubt(assessment, m, reading, old_id) if doubting else ""
    if doubt:
        leave_unwritten()
        st.session_state["doubt"] = f"{doubt} {reading_id} {text}"
        return
    if old_id:
        correct_reading(store, case, old_id, reading)
    else:
        record_reading(store, case, reading, _find_suggestion(assessment, m))
    _leave(form, key, beside)


def _find_suggestion(assessment: Assessment, m: Measurement) -> Suggestion | None:
    """Return what was suggested when this was measured: on the list of the ladder, as a shorter step, or as next."""
    action = assessment.diagnosis.next
    shorter = action.instead.measurement if action and action.instead else None
    offered = m.key in find_list() or (shorter is not None and shorter.key == m.key)
    return build_beside(m) if offered else build_suggestion(assessment)


def _find_doubt(assessment: Assessment, m: Measurement, reading: Reading, old_id: str) -> str:
    """Return why a reading is asked about before it is kept: nothing has come while it still may, or it cannot be."""
    value = parse_value(m, assessment.loop, reading.value)
    if is_too_early(assessment.case, m, value):
        return "early"
    if not old_id and is_unclocked(assessment.case, m, value):
        return "unclocked"
    return find_doubt(assessment, reading, old_id, assess)


def _build(case: Case, m: Measurement, text: str, reading_id: str) -> Reading:
    condition: Condition = ""
    if may_be_absent(case, m):
        condition = "absent" if st.session_state.get(f"absent answer {reading_id}") else "present"
    return replace(build_reading(m, text, reading_id), taken_at=datetime.now(UTC), condition=condition)


def _leave(form: str, key: str, beside: tuple[str, ...]) -> None:
    """Go on to what else was read on the same ladder, or to the next step."""
    for name in (form, "doubt"):
        st.session_state.pop(name, None)
    listed = find_list()
    keep_list([k for k in listed if k != key] if listed else beside)
    leave_form()
    turn_to("")


def _show_hidden(assessment: Assessment, m: Measurement, field: str) -> None:
    """In an invented case, say what would be found, and offer to take it."""
    if find_hidden(assessment.case) is None:
        return
    words = build_words(assessment)
    text = simulate_now(assessment.case, assessment.loop, m)
    value = parse_value(m, assessment.loop, text)
    chosen: object = text.split(",") if is_set(m) else text
    label = tell("demo_use", value=plain(words.value(m, value)))
    st.button(label, key=f"use {field}", on_click=guarded(_take), args=(field, chosen), width="stretch")


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
        if is_settled_already(case, m):
            show_note(tell("clock_none"))
            return
        st.button(
            tell("clock_start", wait=whole), icon=_CLOCK, key=f"clock {m.key}", width="stretch",
            on_click=guarded(_start_clock, tell("clock_start", wait=whole)), args=(case.case_id, case.revision, m.key),
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
