"""What was found, the repair, the tests after it, and how the case is left."""

from collections.abc import Callable
from typing import Literal

import streamlit as st

from diagnostics.cases import CLOSINGS, Case
from diagnostics.readings import Measurement
from diagnostics.reports import (
    Words,
    explain_next,
    list_after_repair,
    list_parts,
    list_repair_cautions,
    tell_certainty,
    tell_closing,
)
from diagnostics.visit import (
    Assessment,
    deny_cure,
    find_measurement,
    find_stage,
    list_disturbed,
    pass_tests,
    put_back,
    record_repair,
    write_class,
)

from .draft import ask_text
from .session import (
    assess,
    build_words,
    find_region,
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
    tell,
    turn_to,
)


def show_verdict(assessment: Assessment) -> None:
    """Show what to do when no measurement comes next: repair, hand on, or nothing is wrong."""
    d, words = assessment.diagnosis, build_words(assessment)
    show_messages()
    if d.next is None:
        st.markdown(f"## {tell('nothing_title')}")
        st.markdown(f"{tell('nothing_found')} {plain(explain_next(d, words))}.")
    elif d.next.action == "hand_over" or d.next_class is None:
        st.markdown(f"## {tell('hand_over_title')}")
        st.markdown(plain(explain_next(d, words)))
    else:
        _show_repair(assessment, words, d.next_class)
        return
    show_button(tell("something_else"), turn_to, ("other",), "something_else")
    show_main_button(tell("finish"), turn_to, ("closing",), "finish_now")


def _show_repair(assessment: Assessment, words: Words, repair: tuple[str, str]) -> None:
    d, case = assessment.diagnosis, assessment.case
    show_note(tell("settled_title") if d.settled else tell("likely_title"))
    st.markdown(f"## {plain(words.repair(repair))}")
    parts = list_parts(repair)
    carried = tell("parts", parts=", ".join(parts)) if parts else tell("no_parts")
    minutes = tell("minutes", minutes=f"{d.next.minutes:.0f}") if d.next else ""
    st.markdown(f"**{tell('sure', percent=tell_certainty(d, repair))}** · {minutes} · {carried}")
    if not d.settled:
        st.markdown(plain(explain_next(d, words)))
    show_cautions((*list_repair_cautions(repair), "outranked"))
    show_button(tell("something_else"), turn_to, ("other",), "something_else")
    _show_outcome(_record_repair, (case.case_id, case.revision, *repair))


def show_own_repair(case: Case) -> None:
    """Ask what this person has put right without being told to."""
    st.title(tell("own_repair"), anchor=False)
    show_messages()
    ask_text(tell("own_repair_what"), "own_repair", tell("own_repair_hint"))
    show_cautions((*list_repair_cautions(None), "ladder", "outranked"))  # it may have been anywhere
    show_button(tell("back"), turn_to, ("",), "own_repair_back")
    _show_outcome(_record_own_repair, (case.case_id, case.revision))


def _record_own_repair(case_id: str, revision: int, cured: bool) -> None:  # noqa: FBT001 - callbacks take positions
    what = str(st.session_state.get("own_repair") or "").strip()
    if not what:
        st.session_state["problem"] = tell("own_repair_needed")
        return
    record_repair(open_store(), load(case_id, revision), what, cured=cured)
    turn_to("")


def _show_outcome(callback: Callable[..., None], args: tuple[object, ...]) -> None:
    """Ask at the lower edge whether the complaint is gone."""
    with st.bottom, st.container(border=False):
        st.markdown(f"**{tell('repair_done')}**")
        with st.container(horizontal=True):
            run = guarded(callback)
            st.button(tell("cured"), key="cured", type="primary", width="stretch", on_click=run, args=(*args, True))
            st.button(tell("still_faulty"), key="still_faulty", width="stretch", on_click=run, args=(*args, False))


def _record_repair(case_id: str, revision: int, remedy: str, spot: str, cured: bool) -> None:  # noqa: FBT001
    record_repair(open_store(), load(case_id, revision), write_class((remedy, spot)), cured=cured)


def show_proof(case: Case) -> None:
    """Show the fixed list of tests after any repair."""
    st.title(tell("proof_title"), anchor=False)
    show_messages()
    st.markdown("\n".join(f"{n}. {test}" for n, test in enumerate(list_after_repair(find_region()), 1)))
    show_cautions(("outputs", "tell_people"))
    place = (case.case_id, case.revision)
    show_button(tell("proof_not"), _deny, place, "proof_not")
    show_main_button(tell("proof_done"), _pass, place, "proof_done")


def _deny(case_id: str, revision: int) -> None:
    deny_cure(open_store(), load(case_id, revision))


def _pass(case_id: str, revision: int) -> None:
    pass_tests(open_store(), load(case_id, revision))


def show_closing(assessment: Assessment) -> None:
    """Ask how the case is left; nothing may stay lifted, bridged or off."""
    case, words = assessment.case, build_words(assessment)
    st.title(tell("closing_title"), anchor=False)
    show_messages()
    _show_disturbed(assessment, words)
    told = {c: tell_closing(c, find_region()) for c in CLOSINGS if c}
    names = {c: name for c, (name, _) in told.items()}
    st.radio(
        tell("closing_title"), list(names), index=0 if find_stage(case) == "closing" else None,
        format_func=names.__getitem__, key="closing", label_visibility="collapsed",
        captions=[text for _, text in told.values()],
    )  # fmt: skip
    if find_view() == "closing":
        show_button(tell("back"), turn_to, ("",), "closing_back")
    if any(r.cured for r in case.repairs):
        show_button(tell("proof_not"), _deny, (case.case_id, case.revision), "proof_not")
    left = bool(list_disturbed(assessment))
    show_main_button(tell("close_case"), _close, (case.case_id, case.revision, left), "close_case")


def _show_disturbed(assessment: Assessment, words: Words) -> None:
    case = assessment.case
    some = list_disturbed(assessment)
    if not some:
        return
    with st.container(border=True):
        st.markdown(f"**{tell('put_back_title')}**")
        for m in some:
            args = (case.case_id, case.revision, m.key)
            st.checkbox(_name_disturbed(m, words), key=f"back {m.key}", on_change=guarded(_put_back), args=args)
        show_note(tell("put_back_all"))


def _name_disturbed(m: Measurement, words: Words) -> str:
    if m.kind == "ohms":
        return tell("put_back_lifted")
    return (
        tell("put_back_known") if m.kind == "known_resistor" else tell("put_back_head", at=plain(words.detector(m.at)))
    )


def _put_back(case_id: str, revision: int, key: str) -> None:
    case = load(case_id, revision)
    m = find_measurement(assess(open_store().load_case(case_id)).loop, key)
    if m is not None:
        put_back(open_store(), case, m)


def _close(case_id: str, revision: int, left: bool) -> None:  # noqa: FBT001 - callbacks take positions
    chosen = st.session_state.get("closing")
    case = load(case_id, revision)
    if chosen is None:
        st.session_state["problem"] = tell("choose_first")
        return
    if chosen == "mended" and find_stage(case) != "closing":
        st.session_state["problem"] = tell("tests_first")
        return
    if left and chosen != "left_impaired":
        st.session_state["problem"] = tell("put_back_left")
        return
    open_store().append_closing(case_id, next(c for c in CLOSINGS if c == chosen), revision)
    turn_to("")


def show_closed(case: Case) -> None:
    """Show how a case was left, and let it be opened again."""
    st.title(tell("closed_title"), anchor=False)
    show_messages()
    name, text = tell_closing(case.closing, find_region())
    kind: Literal["warning", "success"] = "warning" if case.closing == "left_impaired" else "success"
    show_alert(kind, f"**{tell('closed_as', closing=name)}**\n\n{text}")
    show_button(tell("open_again"), _open_again, (case.case_id, case.revision), "open_again")


def show_repairs(case: Case, words: Words) -> None:
    """List what was repaired, and whether it cured."""
    for repair in case.repairs:
        mark = f"✓ {tell('cured')}" if repair.cured else f"✗ {tell('still_faulty')}"
        st.markdown(f"- **{mark}** · {plain(words.told_repair(repair.fault))} {format_moment(repair.done_at)}")


def _open_again(case_id: str, revision: int) -> None:
    open_store().append_closing(case_id, "", revision)
