"""The four things before any measurement, in their order, and whether the loop is one of ours."""

import streamlit as st

from diagnostics.cases import Case
from diagnostics.reports import tell_caution
from diagnostics.visit import (
    LISTENERS,
    SAFETY,
    Listener,
    Stage,
    accept_loop,
    acknowledge,
    close_case,
    find_listener,
    hand_over,
    start_visit,
    tell_listener,
    tell_people,
)

from .draft import WHO, ask_text, drop_leaving, keep_choice, recall
from .session import (
    NEW,
    find_region,
    find_view,
    go_to,
    load,
    open_store,
    show_alert,
    show_button,
    show_main_button,
    show_messages,
    show_note,
    tell,
    turn_to,
)

TOLD, BY = "told", "closed_by"  # the fields of every closing
_HOURS = (1, 2, 4, 8)


def show_safety(stage: Stage, case: Case | None) -> None:
    """Show one of the four; ``case`` is None until the first is answered, so that a tap by mistake leaves nothing."""
    show_note(tell("safety_step", number=str(SAFETY.index(stage) + 1)))
    st.title(tell_caution(stage, find_region())[0], anchor=False)
    if case is not None and case.visit_begun is not None:
        show_note(tell("reopened"))
    show_messages()
    place = (NEW, 0) if case is None else (case.case_id, case.revision)
    if find_view() == "stop" and stage in _STOPS:
        _STOPS[stage](place)
    elif find_view() == "look" and stage == "is_it_real":
        _have_looked()
    else:
        if stage == SAFETY[0] and (case is None or case.visit_begun is not None):
            who = _ask_listener(case)
        else:
            who = _find_asked(case)
        if who == "caller":
            st.markdown(f"**{tell('ask_caller')}:**")
        st.markdown(tell_caution(stage, find_region(), who)[1])
        _ASKS[stage](place, who)


def _find_asked(case: Case | None) -> Listener:
    return LISTENERS[0] if case is None else find_listener(case)


def _tell_for(who: Listener, key: str) -> str:
    """Return a sentence as it is said to whoever is asked: a caller finds out without opening anything."""
    return tell(_BY_PHONE.get(key, key) if who == "caller" else key)


def _ask_listener(case: Case | None) -> Listener:
    """Ask once, at the start of a visit, who is asked: it decides how questions are put, and which are."""
    known = _find_asked(case)
    recall(WHO, LISTENERS, known)
    chosen = st.segmented_control(
        tell("who_asks"),
        LISTENERS,
        format_func=_name_listener,
        required=True,
        width="stretch",
        key=WHO,
    )
    keep_choice(WHO, chosen or "", known)
    if chosen == "caller":
        show_note(tell("asks_caller_note"))
    return "caller" if chosen == "caller" else "technician"


def _name_listener(who: Listener) -> str:
    return tell({"technician": "asks_technician", "caller": "asks_caller"}[who])


def _ask_real(place: tuple[str, int], who: Listener) -> None:
    st.markdown(f"**{_tell_for(who, 'real_question')}**")
    show_button(tell("real_no"), turn_to, ("stop",), "real_no")
    show_button(tell("real_not_yet"), turn_to, ("look",), "real_not_yet")
    show_main_button(tell("real_yes"), _accept, (*place, "is_it_real"), "real_yes")


def _have_looked() -> None:
    show_alert("warning", f"**{tell('real_not_yet')}.** {tell('real_look')}")
    show_main_button(tell("back"), turn_to, ("",), "real_back")


def _stop_real(_: tuple[str, int]) -> None:
    show_alert("error", f"**{tell('real_stop_title')}.** {tell('real_stop')}")
    st.markdown(tell("real_after"))
    show_main_button(tell("back"), turn_to, ("",), "real_back")


def _ask_outputs(place: tuple[str, int], who: Listener) -> None:
    st.markdown(f"**{_tell_for(who, 'outputs_question')}**")
    show_button(_tell_for(who, "outputs_release"), turn_to, ("stop",), "outputs_release")
    show_main_button(_tell_for(who, "outputs_none"), _accept, (*place, "outputs"), "outputs_none")


def _stop_release(place: tuple[str, int]) -> None:
    show_alert("error", f"**{tell('release_title')}**\n\n{tell('release_stop')}")
    _ask_leaving()
    show_button(tell("release_back"), turn_to, ("",), "release_back")
    show_main_button(tell("release_close"), _close_as_not_ours, place, "release_close")


def _ask_people(place: tuple[str, int], who: Listener) -> None:
    st.markdown(f"**{_tell_for(who, 'tell_question')}**")
    names = {h: tell("tell_hours", hours=str(h)) for h in _HOURS}
    st.segmented_control(
        tell("tell_yes"), list(names), default=2, required=True, width="stretch", key="hours",
        format_func=names.__getitem__,
    )  # fmt: skip
    show_button(tell("tell_local"), _tell_local, place, "tell_local")
    show_main_button(tell("tell_button"), _tell_people, place, "tell_people")


def _ask_evidence(place: tuple[str, int], who: Listener) -> None:
    st.markdown(f"**{_tell_for(who, 'evidence_question')}**")
    show_main_button(tell("evidence_yes"), _accept, (*place, "evidence_first"), "evidence_yes")


_ASKS = {"is_it_real": _ask_real, "outputs": _ask_outputs, "tell_people": _ask_people, "evidence_first": _ask_evidence}
_STOPS = {"is_it_real": _stop_real, "outputs": _stop_release}
_BY_PHONE = {
    "real_question": "real_question_caller",
    "outputs_question": "outputs_question_caller",
    "outputs_none": "outputs_none_caller",
    "outputs_release": "outputs_release_caller",
    "tell_question": "tell_question_caller",
    "evidence_question": "evidence_question_caller",
    "for_us": "for_us_caller",
    "for_us_hint": "for_us_hint_caller",
    "not_for_us": "not_for_us_caller",
}


def show_for_us(case: Case) -> None:
    """Ask whether the loop is one that this tool understands, and say so kindly when it is not."""
    st.title(tell("for_us_title"), anchor=False)
    show_messages()
    place, who = (case.case_id, case.revision), find_listener(case)
    if find_view() == "stop":
        show_alert("info", f"**{tell('not_for_us_title')}**\n\n{_tell_for(who, 'not_for_us')}")
        _ask_leaving()
        show_button(tell("not_for_us_back"), turn_to, ("",), "not_for_us_back")
        show_main_button(tell("not_for_us_close"), _close_as_not_ours, place, "not_for_us_close")
        return
    st.markdown(_tell_for(who, "for_us"))
    with st.container(border=True):
        st.markdown(f"**{tell('for_us_no')}:** {tell('for_us_list')}")
        show_button(tell("for_us_stop"), turn_to, ("stop",), "for_us_no")
    st.markdown(_tell_for(who, "for_us_hint"))
    show_button(tell("for_us_unsure"), _accept_loop, place, "for_us_unsure")
    show_main_button(tell("for_us_yes"), _accept_loop, place, "for_us_yes")


def _accept(case_id: str, revision: int, name: str) -> None:
    store = open_store()
    who: Listener = "caller" if st.session_state.get(WHO) == "caller" else "technician"
    if case_id == NEW:
        case = tell_listener(store, start_visit(store), who)
    else:
        case = load(case_id, revision)
        case = hand_over(store, case, who) if name == SAFETY[0] else case
    acknowledge(store, case, name)
    go_to(case.case_id)


def _tell_people(case_id: str, revision: int) -> None:
    tell_people(open_store(), load(case_id, revision), float(st.session_state["hours"]))


def _tell_local(case_id: str, revision: int) -> None:
    tell_people(open_store(), load(case_id, revision), None)


def _accept_loop(case_id: str, revision: int) -> None:
    accept_loop(open_store(), load(case_id, revision))


def _close_as_not_ours(case_id: str, revision: int) -> None:
    told, by = (str(st.session_state.get(key) or "").strip() for key in (TOLD, BY))
    if not told or not by:
        st.session_state["problem"] = tell("by_needed" if told else "told_needed_not_ours")
        return
    close_case(open_store(), load(case_id, revision), "not_ours", told=told, by=by)
    drop_leaving()
    turn_to("")


def _ask_leaving() -> None:
    """Ask what every closing asks: who has been told, so that somebody takes it on, and who says so."""
    ask_text(tell("told_who"), TOLD, tell("told_hint"))
    ask_text(tell("closed_by"), BY, "", 80)
