"""The work: the next step and its answer, what else was measured, what is left out."""

from types import MappingProxyType

import streamlit as st

from diagnostics.cases import Reading
from diagnostics.readings import LISTED, Measurement, list_measurements
from diagnostics.reports import Words, format_wait, tell_read
from diagnostics.visit import (
    Assessment,
    find_first,
    find_last_absent,
    find_listener,
    find_measurement,
    find_out_of_service,
    hand_over,
    is_settled_already,
    lacks_rooms,
    list_read_cautions,
    parse_rooms,
    prepare_answers,
    tell_rooms,
    understand,
)

from .answer import show_answer
from .back import comes_home, name_disturbed, show_disturbed
from .draft import (
    ASKED,
    CORRECTING,
    ask_lines,
    find_draft_owner,
    find_kept,
    find_list,
    keep,
    keep_choice,
    keep_list,
    leave_form,
    recall,
)
from .guide import (
    find_own_step,
    find_pending,
    show_answers,
    show_doubt,
    show_guide_words,
    show_lead,
    show_pending,
    show_shorter,
    show_stop,
    show_why,
)
from .notices import show_notices, show_unprotected, show_unsafe
from .session import (
    build_words,
    find_view,
    format_moment,
    guarded,
    load,
    open_store,
    plain,
    show_alert,
    show_button,
    show_cautions,
    show_main_button,
    show_messages,
    show_note,
    show_side,
    tell,
    turn_to,
)
from .suspects import show_readings, show_suspects
from .verdict import show_verdict
from .ways import CANNOT, show_cannot, show_left_out, show_undo, show_ways

_FIRST = MappingProxyType(
    {
        "power": "first_power",
        "known_off": "first_known_off",
        "pair_on": "first_pair_on",
        "stays": "first_stays",
        "back": "first_back",
    }
)


def show_work(assessment: Assessment) -> None:
    """Show the next step, or a stop alone."""
    if assessment.guidance is not None and assessment.guidance.stops:
        show_stop(assessment)
        return
    _show_out_of_service(assessment)
    if assessment.unsafe and not find_kept(ASKED) and not find_kept(CORRECTING):
        show_unsafe(assessment)  # nobody is sent there again before it is made safe
        show_readings(assessment, unfolded=True)
        _show_more(assessment, at_step=False)
        return
    _show_next(assessment)


def _show_next(assessment: Assessment) -> None:
    """Show the next step beside the suspects; on a phone one below the other."""
    m, old = _find_asked(assessment)
    left, right = st.columns([3, 2], gap="small")
    chosen = old is not None or find_kept(ASKED) or find_list() or find_draft_owner()
    pending = None if chosen else find_pending(assessment)
    view = find_view()
    with left:
        if old is None and not find_list():
            show_notices(assessment, asked=m.key if m and pending is None and view != "other" else "")
        if view == "other":
            _show_choice(assessment)
        elif pending is not None:
            show_pending(assessment, pending)
            show_ways(assessment, None)
        elif view == CANNOT and m is not None and old is None:
            show_cannot(assessment, m)
        elif m is not None:
            _show_step(assessment, m, old)
        else:
            show_verdict(assessment)
    found = m is None and pending is None and view != "other"  # a verdict stands: what led to it is a tap away
    with right:
        show_suspects(assessment, m, folded=found)
        show_readings(assessment)
        _show_more(assessment, at_step=_has_ways(assessment, m, old, pending is not None))
    prepare_answers(assessment)


def _show_out_of_service(assessment: Assessment) -> None:
    since = find_out_of_service(assessment)
    if since is not None:
        show_note(f"⚠ **{tell('out_of_service', when=format_moment(since))}**")
    show_unprotected(assessment.case, build_words(assessment))


def _has_ways(assessment: Assessment, m: Measurement | None, old: Reading | None, pending: bool) -> bool:  # noqa: FBT001
    """Return whether the ways around the step stand below it already."""
    if find_view() in {"other", CANNOT}:
        return False
    return pending or (m is not None and old is None and not find_list() and _is_suggested(assessment, m))


def _is_suggested(assessment: Assessment, m: Measurement) -> bool:
    action = assessment.diagnosis.next
    return action is not None and action.measurement is not None and action.measurement.key == m.key


def _find_asked(assessment: Assessment) -> tuple[Measurement | None, Reading | None]:
    """Return the measurement to show: one to correct, one that this person chose, or the suggested one."""
    old = assessment.case.find_reading(find_kept(CORRECTING))
    if old is not None and old in assessment.case.readings:
        return understand(assessment.loop, old).measurement, old
    for key in (find_kept(ASKED), *find_list(), find_draft_owner()):  # what is half typed is never taken away
        asked = find_measurement(assessment.loop, key)
        if asked is not None:
            return asked, None
    action = assessment.diagnosis.next
    return (action.measurement if action else None), None


def _show_step(assessment: Assessment, m: Measurement, old: Reading | None) -> None:
    words, d = build_words(assessment), assessment.diagnosis
    suggested = old is None and _is_suggested(assessment, m)
    listed = m.key in find_list() and not old
    guided = suggested and not listed and _is_guided(assessment)
    if suggested and not listed and d.contradiction is None:
        show_doubt(assessment)
    waits = not is_settled_already(assessment.case, m)
    minutes = _tell_minutes(m, d.next.minutes, waits=waits) if suggested and d.next is not None else ""
    _show_title(assessment, old, minutes, suggested=suggested, listed=listed)
    _show_first(assessment, m)
    st.markdown(f"## {plain(words.ask(m))}")
    if guided:
        show_guide_words(assessment)
    beside = assessment.beside if suggested and not listed else ()
    _show_step_cautions(assessment, (m, *beside))
    _show_beside(beside, words)
    _show_last_absent(assessment, m, words)
    if find_listener(assessment.case) == "caller":
        _ask_rooms(assessment, m)
    if "ladder" in m.tools or listed:  # a lamp of the same list is seen from the floor, and is typed there too
        show_note(tell("down_first"))
    show_answer(assessment, m, old, tuple(one.key for one in beside))
    if listed:
        show_button(tell("list_none"), _drop_list, (), "list_none")
        show_undo(assessment)
    elif suggested:
        _show_below(assessment, m)
    else:
        show_button(tell("back_to_next"), _go_back, (), "back_to_next")


def _tell_minutes(m: Measurement, minutes: float, *, waits: bool) -> str:
    """Return how long a step takes; what is waited for before it counts is told beside it, or the two would clash."""
    if waits and m.data.settling > minutes * 60:
        return tell("minutes_wait", minutes=f"{minutes:.0f}", wait=format_wait(m.data.settling))
    return tell("minutes_from", minutes=f"{minutes:.0f}")


def _show_first(assessment: Assessment, m: Measurement) -> None:
    """Say what the last step left lifted or off, what is to be done about it first, and who is asked."""
    first = find_first(assessment.case, assessment.loop, m)
    if first:
        left = understand(assessment.loop, assessment.case.readings[-1]).measurement
        words = build_words(assessment)
        told = {**_FIRST, "pair_on": "first_both_on"} if comes_home(left, words) else _FIRST
        show_alert("info", " ".join(tell(told[word], what=name_disturbed(left, words)) for word in first))
        if "stays" not in first:  # the header counts from here on what is still off
            show_disturbed(assessment.case, words)
    if find_listener(assessment.case) == "caller":
        st.markdown(f"**{tell('ask_caller')}:**")


def _show_step_cautions(assessment: Assessment, some: tuple[Measurement, ...]) -> None:
    cautions = tuple(dict.fromkeys(c for one in some for c in one.cautions))
    read = list_read_cautions(assessment.case, assessment.loop, cautions)
    show_cautions(cautions, read, find_listener(assessment.case))


def _show_below(assessment: Assessment, m: Measurement) -> None:
    """Show what lies below the answer of the suggested step: a shorter one, why, and the ways around it."""
    show_ways(assessment, m)
    show_shorter(assessment)
    show_why(assessment, guided=_is_guided(assessment))


def _is_guided(assessment: Assessment) -> bool:
    d = assessment.diagnosis
    return assessment.guidance is not None and d.next is not None and not d.next.again


def _show_title(assessment: Assessment, old: Reading | None, minutes: str, *, suggested: bool, listed: bool) -> None:
    """Say where this step comes from: a correction, the ladder's list, the guide, the model, or the person."""
    if old is not None:
        show_alert(
            "info",
            f"{tell('correcting')} {tell('contradiction_was', value=plain(tell_read(old, build_words(assessment))))}",
        )
    elif listed:
        show_note(tell("list_title", left=str(len(find_list()))))
    elif suggested and _is_guided(assessment) and find_own_step(assessment) is not None:
        show_note(f"{tell('guide_step')} · {minutes}")
    else:
        show_note(" · ".join(filter(None, [tell("next_title") if suggested else tell("something_else"), minutes])))


def _show_beside(beside: tuple[Measurement, ...], words: Words) -> None:
    """Show what else to read up there, before anybody climbs."""
    if not beside:
        return
    with st.container(border=True):
        lines = "\n".join(f"- {plain(words.ask(m))}" for m in beside)
        st.markdown(f"**{tell('beside_title')}**\n\n{lines}")
        show_note(tell("beside_note"))


def _ask_rooms(assessment: Assessment, m: Measurement) -> None:
    """Let the rooms be named before a caller is asked about detectors that have but a number."""
    case = assessment.case
    asks = m.kind in LISTED or assessment.loop.find_detector(m.at) is not None
    if not asks or not lacks_rooms(case.site):
        return
    with st.container(border=True):
        ask_lines(tell("q_rooms"), "q_rooms", tell("q_rooms_hint"))
        show_note(tell("rooms_ask"))
        show_button(tell("rooms_use"), _use_rooms, (case.case_id, case.revision), "rooms_use")


def _use_rooms(case_id: str, revision: int) -> None:
    tell_rooms(open_store(), load(case_id, revision), parse_rooms(str(st.session_state.get("q_rooms") or "")))
    keep("q_rooms", "")


def _show_last_absent(assessment: Assessment, m: Measurement, words: Words) -> None:
    last = find_last_absent(assessment.case, m)
    if last is not None:
        value = words.value(m, understand(assessment.loop, last).value)
        show_alert("info", tell("absent_last", value=plain(value)))


def _drop_list() -> None:
    leave_form()
    keep_list(())


def _go_back() -> None:
    leave_form()
    turn_to("")


def _show_choice(assessment: Assessment) -> None:
    """Let a person choose any measurement of this loop: where, then what."""
    words = build_words(assessment)
    st.markdown(f"## {tell('something_else')}")
    every = list_measurements(assessment.loop)
    named = {m.place: words.place(m.place) for m in every}  # a list to choose from knows no Markdown
    places = list(named)
    recall("other_where", places, places[0])
    where = st.selectbox(tell("other_where"), places, key="other_where", format_func=named.__getitem__)
    keep_choice("other_where", where, places[0])
    some = {m.key: plain(words.name(m)) for m in every if m.place == where}
    keys = list(some)
    recall("other_what", keys, keys[0])
    what = st.radio(tell("other_what"), keys, key="other_what", format_func=some.__getitem__)
    keep_choice("other_what", what, keys[0])
    show_messages()
    show_button(tell("back_to_next"), _go_back, (), "back_to_next")
    show_main_button(tell("other_show"), _choose, (), "other_show")


def _choose() -> None:
    leave_form()
    keep(ASKED, str(st.session_state.get("other_what", "")))
    turn_to("")


def _show_more(assessment: Assessment, *, at_step: bool) -> None:
    """Show what was left out, and the ways to another side of the case; some stand ``at_step`` already."""
    show_left_out(assessment)
    show_answers(assessment)
    with st.container(horizontal=True, gap="xsmall", key="sides"):
        show_lead(assessment)
        show_side("finish", "closing", "finish")
        if not at_step:
            show_side("own_repair", "repair", "to_repair")
        if find_listener(assessment.case) == "caller":
            place = (assessment.case.case_id, assessment.case.revision)
            label = tell("on_site_now")
            st.button(label, key="on_site_now", on_click=guarded(_take_over, label), args=place)


def _take_over(case_id: str, revision: int) -> None:
    """Hand the case over to a technician on site, whole; whoever that is says anew what is at hand."""
    hand_over(open_store(), load(case_id, revision), "technician")
    turn_to("complaint")
