"""The way through a visit: which screen comes now follows from the record alone."""

import streamlit as st

from diagnostics.cases import Case, CaseStore
from diagnostics.errors import DiagnosticsError, NotFoundError
from diagnostics.reports import format_wait
from diagnostics.visit import (
    SAFETY,
    Assessment,
    count_left_s,
    extend_test,
    find_break,
    find_hidden,
    find_stage,
    find_test_end,
    tell_meaning,
)

from .baseline import AS_LEFT, find_question, show_held, show_left_form, show_question
from .closing import PROOF, show_closing
from .complaint import show_complaint
from .describe import show_describe
from .draft import drop_planted, find_form
from .moved import note_others, show_moved
from .paper import PAPER, show_paper
from .plant import show_plant
from .proof import show_proof
from .record import show_closed, show_come_back, show_more_of_case
from .safety import show_for_us, show_safety
from .seen import ask_seen
from .session import (
    NEW,
    PLANT,
    assess,
    begin_screen,
    build_words,
    find_case_id,
    find_view,
    find_zone,
    format_moment,
    go_to,
    guarded,
    load,
    log_incident,
    open_store,
    plain,
    show_alert,
    show_button,
    show_main_button,
    show_note,
    show_style,
    show_top,
    tell,
    write_problem,
)
from .start import show_start
from .timeline import TIMELINE, show_timeline
from .tries import show_introduction, show_try_right
from .verdict import has_fresh_repair, show_own_repair, show_repairs
from .work import show_work

_TICK_S = 20.0  # how often the head of the page counts the test period down


def show_app() -> None:
    """Show the screen that comes now; whatever goes wrong ends as a kind sentence here."""
    try:
        _show_app()
    except DiagnosticsError as error:
        show_alert("error", write_problem(error))
        show_button(tell("to_start"), go_to, ("",), "to_start")
    except Exception:  # noqa: BLE001 - the outermost frame
        show_alert("error", log_incident())
        show_button(tell("to_start"), go_to, ("",), "to_start")


def _show_app() -> None:
    show_style()
    store, case_id = open_store(), find_case_id()
    if not case_id:
        show_start(store)
        return
    if case_id == NEW:
        _show_head(None)
        show_safety(SAFETY[0], None)
        return
    if case_id == PLANT:
        begin_screen()
        _show_head(None)
        show_plant(store)
        return
    drop_planted()  # the browser's Back may bring a trainer's choices along
    case = _find_case(store, case_id)
    if case is None:
        _show_head(None)
        show_alert("warning", tell("unknown_case", case=plain(case_id)))
        show_main_button(tell("to_start"), go_to, ("",), "to_start")
        return
    begin_screen()
    note_others(store, case)
    show_top(f"{find_stage(case)} {find_view()} {find_form()} {case_id} {tell_meaning(case)}")
    _show_head(case)
    above = st.container()
    left_at = find_break(case)
    if left_at is not None:
        show_come_back(case, left_at)
    else:
        _show_stage(case)
    with above:
        show_moved(case)


def _find_case(store: CaseStore, case_id: str) -> Case | None:
    try:
        return store.load_case(case_id)
    except NotFoundError:
        return None


def _show_stage(case: Case) -> None:
    stage = find_stage(case)
    if stage in {*SAFETY, "work"}:
        show_introduction(case)
    if stage in SAFETY:
        show_safety(stage, case)
    elif stage in {"complaint", "work"} and (baseline := find_question(case)) is not None:
        show_question(case, baseline)
    elif stage == "work":
        _show_view(case)
    elif stage == "closing":
        _show_end(case)
    elif stage == "proof" and find_view() == "closing":
        show_closing(assess(case))
    elif stage == "closed":
        show_closed(case)
        show_main_button(tell("to_start"), go_to, ("",), "to_start")
    else:
        _SCREENS[stage](case)


_SCREENS = {"for_us": show_for_us, "describe": show_describe, "complaint": show_complaint, "proof": show_proof}


def _show_view(case: Case) -> None:
    """Show the side of the work that was turned to: the next step unless another was asked for."""
    view = find_view()
    if view in _SIDES:
        _SIDES[view](case)
    elif view == "closing":
        show_closing(assess(case))
    else:
        _show_work(assess(case))


_SIDES = {
    "describe": show_describe,
    "complaint": show_complaint,
    "repair": show_own_repair,
    PAPER: show_paper,
    TIMELINE: show_timeline,
}


def _show_work(assessment: Assessment) -> None:
    """Show the work, and below it what was repaired, what it is held against, and the record so far.

    What has just been said of a repair stands above it: it may have been the wrong button.
    """
    if assessment.guidance is not None and assessment.guidance.stops:
        show_work(assessment)  # a stop is shown alone
        return
    case, words = assessment.case, build_words(assessment)
    fresh = has_fresh_repair(case)
    if fresh:
        show_repairs(case, words, may_change=True)
        show_try_right(case, words.loop)
        ask_seen(case, words)
    show_work(assessment)
    if case.repairs and not fresh:
        st.subheader(tell("repairs_title"), anchor=False)
        show_repairs(case, words, may_change=True)
    show_held(case, words)
    show_more_of_case(case)


def _show_end(case: Case) -> None:
    """Show how a restored loop is left, or the side of it that was turned to."""
    view = find_view()
    if view == PROOF:
        show_proof(case)
    elif view == AS_LEFT:
        show_left_form(case)
    else:
        show_closing(assess(case))


def _show_head(case: Case | None) -> None:
    """Show the way back, the case, that all is saved, and how long the system is on test; in little room."""
    with st.container(horizontal=True, vertical_alignment="center", wrap=False, gap="small"):
        st.button(f"‹ {tell('all_cases')}", key="all_cases", on_click=guarded(go_to), args=("",))
        if case is not None:
            with st.container(key="page_head"):
                st.fragment(_show_head_line, run_every=_TICK_S)(case)
    if case is None or case.closing:
        return
    end = find_test_end(case)
    if end is not None and not count_left_s(end):
        show_alert("warning", tell("on_test_over", until=format_moment(end)))
        show_button(tell("extend"), _extend, (case.case_id, case.revision), "extend")


def _show_head_line(case: Case) -> None:
    """Count the test period down; when it ends, the whole page says so."""
    end = find_test_end(case)
    was_over = st.session_state.get("test_over", "")
    over = "" if end is None or count_left_s(end) else case.case_id
    if over != was_over:
        st.session_state["test_over"] = over
        st.rerun()
    show_note(_tell_head(case))


def _tell_head(case: Case) -> str:
    """Return the place, and in a second line that all is saved and how long the system is on test."""
    end = find_test_end(case)
    left_s = 0.0 if end is None or case.closing else count_left_s(end)
    left = format_wait(left_s)
    if find_stage(case) in {*SAFETY, "for_us", "describe"} and case.visit_begun is None:
        return tell("on_test", until=format_moment(end), left=left) if end and left_s else ""
    count = len(case.readings)
    saved = tell("saved", count=str(count)) if count else tell("none_saved")
    short = tell("on_test_short", until=f"{end.astimezone(find_zone()):%H:%M}", left=left) if end and left_s else ""
    practice = tell("practice") if find_hidden(case) is not None else ""
    line = " · ".join(filter(None, [saved, short, practice]))
    return f"**{plain(case.site.name)}**  \n{line}"


def _extend(case_id: str, revision: int) -> None:
    extend_test(open_store(), load(case_id, revision), 1.0)
