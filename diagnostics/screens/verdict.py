"""What was found, the repair, and whether it cured; each answer can be taken back."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from functools import partial
from typing import Literal

import streamlit as st

from diagnostics.cases import Case, Saw
from diagnostics.reasoning import SYMPTOMS, Diagnosis
from diagnostics.reports import (
    Mend,
    Words,
    explain_next,
    explain_unsure,
    list_likeliest,
    list_mend_places,
    list_mends,
    list_parts,
    list_repair_cautions,
    list_suspected,
    list_told,
    tell_certainty,
    tell_location,
    tell_panel,
    tell_rechecks,
    tell_symptom,
    tell_take_off,
)
from diagnostics.visit import (
    Assessment,
    RepairNote,
    build_suggestion,
    find_disturbances,
    find_listener,
    foresee_repair,
    list_read_for_repair,
    list_spared,
    record_repair,
    take_back_repair,
    write_class,
)

from .back import show_disturbed
from .draft import DONE, ask_text, find_kept, keep, keep_choice, recall
from .session import (
    assess,
    bring_into_view,
    build_words,
    find_region,
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
from .tries import show_try_outcome
from .ways import show_undo

_SUSPECT = "suspect"  # which of the leading suspects a repair of one's own was for
_OTHER_NOW = "other_now"  # in the address: the repair after which something else is wrong than before
_MOST_MENDS = 6  # of so many lines one still sees the cautions below them
_NOW = "now"  # what that is
_SWAPS = "swap_zone_input"  # a repair that rests on what the panel itself should give


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
    _show_ways(assessment)
    show_main_button(tell("finish"), turn_to, ("closing",), "finish_now")


def _show_repair(assessment: Assessment, words: Words, repair: tuple[str, str]) -> None:
    d, case = assessment.diagnosis, assessment.case
    by_phone = find_listener(case) == "caller"
    _show_back(case, words, write_class(repair))
    if by_phone:  # before anything that reads like an order
        show_alert("info", tell("caller_hand_on"))
    _show_found(d, words, repair)
    assumed = tell_panel(case.site)
    if assumed and _SWAPS in repair[0].split(" + "):
        show_alert("warning", plain(f"{assumed} {tell('assumed_verdict')}"))
    mends = list_mends(d, repair, words)
    _show_mends(mends)
    rechecks = () if by_phone else tell_rechecks(repair, words)
    take_off = "" if by_phone else tell_take_off(d, repair, words)
    more = [text for text in (tell_location(assessment, words), take_off, *rechecks) if text]
    st.markdown("\n".join(f"- {plain(text)}" for text in more))
    if by_phone:
        _end_by_phone(assessment)
        return
    at = list_mend_places(mends)
    wanted = (*list_repair_cautions(repair, at), *(("free_part",) if take_off else ()), "outranked")
    show_cautions(wanted, list_read_for_repair(case, words.loop, repair, at))
    args = (case.case_id, case.revision, *repair, list_suspected(d, repair, words))
    _show_ways(assessment, args)
    tried = partial(show_try_outcome, case, words.loop, repair)
    _show_outcome(write_class(repair), plain(words.repair(repair)), _record_repair, args, tried)


def _show_found(d: Diagnosis, words: Words, repair: tuple[str, str]) -> None:
    """Show the repair, how sure it is, its minutes and parts; and why nothing is measured first, if it is not."""
    show_note(tell("settled_title") if d.settled else tell("likely_title"))
    st.markdown(f"## {plain(words.repair(repair))}")
    parts = list_parts(repair)
    carried = tell("parts", parts=", ".join(parts)) if parts else tell("no_parts")
    minutes = tell("minutes", minutes=f"{d.next.minutes:.0f}") if d.next else ""
    st.markdown(f"**{tell('sure', percent=tell_certainty(d, repair))}** · {minutes} · {carried}")
    if not d.settled:
        st.markdown(explain_unsure(d))


def _show_ways(assessment: Assessment, repair: tuple[object, ...] = ()) -> None:
    """Show the ways around a verdict, side by side, as they stand at a step; a repair may turn out not to be needed."""
    with st.container(horizontal=True, gap="xsmall", key="ways"):
        if repair:
            label = tell("was_right")
            st.button(label, key="was_right", on_click=guarded(_record_right, label), args=repair)
        show_side("something_else", "other", "something_else")
        show_undo(assessment)


def _end_by_phone(assessment: Assessment) -> None:
    """End with a verdict of which nothing is the caller's to do: it is handed on."""
    show_cautions(("ladder", "outranked"), frozenset(), "caller")
    _show_ways(assessment)
    show_main_button(tell("finish"), turn_to, ("closing",), "finish_now")


def _show_back(case: Case, words: Words, repair: str) -> None:
    """List what stands lifted or off once the work is done: whether it cured shows only with everything back."""
    if find_kept(DONE) != repair or not find_disturbances(case, words.loop):
        return
    with st.container(key="put_back_now"):
        show_disturbed(case, words)
    bring_into_view("put_back_now", repair)


def _show_mends(mends: Sequence[Mend]) -> None:
    """Show what exactly to mend, for each part of the repair; of several for one, that it is one of them."""
    for part in dict.fromkeys(mend.repair for mend in mends):
        first, *others = (plain(mend.told) for mend in mends if mend.repair == part)
        if not others:
            st.markdown(f"- {first}")
            continue
        lines = [f"- {first}", *(f"- {tell('mend_or', mend=other)}" for other in others[: _MOST_MENDS - 1])]
        more = len(others) + 1 - _MOST_MENDS
        lines += [f"- {tell('mend_more', count=str(more))}"] if more > 0 else []
        told = {"mend_conductor": "mend_one_of", "set_zone_right": "mend_one_set"}.get(part[0], "mend_one_seen")
        st.markdown("\n".join([tell(told), "", *lines]))


def _ask_one(key: str, question: str, names: Mapping[str, str], asked_for: str) -> None:
    """Ask for one of several, none taken in passing, and bring the question into view; it stands in the address."""
    with st.container(key=question):
        recall(key, tuple(names))
        if st.session_state[key] not in names:
            st.session_state[key] = None
        chosen = st.radio(tell(question), list(names), format_func=names.__getitem__, key=key)
        keep_choice(key, chosen or "", "")
    bring_into_view(question, asked_for)


def show_own_repair(case: Case) -> None:
    """Ask what this person has put right without being told to, and whether it was one of the leading suspects."""
    assessment = assess(case)
    words = build_words(assessment)
    st.title(tell("own_repair"), anchor=False)
    show_messages()
    _show_back(case, words, "own")
    typed = ask_text(tell("own_repair_what"), "own_repair", tell("own_repair_hint"))
    likeliest = list_likeliest(assessment.diagnosis, words)
    chosen = _ask_suspect(likeliest)
    mended = [mend for mend in likeliest if mend.fault == chosen]
    repair, at = next((mend.repair for mend in mended), None), list_mend_places(mended)
    anywhere = ("ladder",) if repair is None else ()  # what is told in words may have been at the panel or up there
    spared = list_spared(typed, words.loop) if repair is None else frozenset[str]()
    wanted = tuple(c for c in (*list_repair_cautions(repair, at), *anywhere, "outranked") if c not in spared)
    show_cautions(wanted, list_read_for_repair(case, words.loop, repair, at), find_listener(case))
    show_button(tell("back"), turn_to, ("",), "own_repair_back")
    classes = tuple((mend.fault, write_class(mend.repair)) for mend in likeliest)
    tried = partial(show_try_outcome, case, words.loop, repair)
    _show_outcome("own", tell("own_repair"), _record_own_repair, (case.case_id, case.revision, classes), tried)


def _ask_suspect(likeliest: Sequence[Mend]) -> str:
    """Offer the leading suspects as what it was: one tap, which another takes back, or none; return which it is."""
    names = {mend.fault: plain(mend.name) for mend in likeliest}
    if not names:
        return ""
    recall(_SUSPECT, tuple(names))
    if st.session_state[_SUSPECT] not in names:
        st.session_state[_SUSPECT] = None
    chosen = st.pills(tell("own_repair_suspect"), list(names), key=_SUSPECT, wrap=True, format_func=names.__getitem__)
    keep_choice(_SUSPECT, chosen or "", "")
    return chosen or ""


def _record_own_repair(
    case_id: str,
    revision: int,
    classes: tuple[tuple[str, str], ...],
    cured: bool,  # noqa: FBT001 - callbacks take positions
) -> None:
    """Store it in plain words, or, where it was one of the suspects, as the repair of that one."""
    typed, suspect = (str(st.session_state.get(key) or "").strip() for key in ("own_repair", _SUSPECT))
    repair = dict(classes).get(suspect)
    if not typed and not repair:
        st.session_state["problem"] = tell("own_repair_needed")
        return
    saw: Saw = "as_suspected" if cured else ""  # what did not cure was hardly as it is called
    note = RepairNote((suspect,), saw, own_words=typed) if repair else RepairNote()
    _record(load(case_id, revision), repair or typed, note, cured=cured)
    if "problem" not in st.session_state:
        turn_to("")


def _show_outcome(
    repair: str,
    told: str,
    callback: Callable[..., None],
    args: tuple[object, ...],
    show_tried: Callable[[], None],
) -> None:
    """Wait at the lower edge until the work is done; then ask whether the complaint is gone.

    ``show_tried`` says it where nobody can go and look: beside the question, or it would stand out of sight.
    """
    if find_kept(DONE) != repair:
        show_main_button(tell("work_done"), _say_done, (repair,), "work_done")
        return
    if find_kept(_OTHER_NOW) == repair:
        _ask_complaint_now(told, callback, args)
        return
    show_button(tell("work_not_done"), keep, (DONE, ""), "work_not_done")
    with st.bottom, st.container(border=False):
        st.markdown(f"**{tell('repair_done')}**")
        show_tried()
        with st.container(horizontal=True):
            for key, cured in (("cured", True), ("still_faulty", False)):
                run = guarded(callback, f"{told}: {tell(key)}")
                kind: Literal["primary", "secondary"] = "primary" if cured else "secondary"
                st.button(tell(key), key=key, type=kind, width="stretch", on_click=run, args=(*args, cured))
        run, label = guarded(keep), tell("other_now")
        st.button(label, key="other_now", width="stretch", on_click=run, args=(_OTHER_NOW, repair))


def _ask_complaint_now(told: str, callback: Callable[..., None], args: tuple[object, ...]) -> None:
    """Ask what is wrong since the repair: it may be the complaint of another fault, which the first one hid."""
    names = {symptom: tell_symptom(symptom, find_region()) for symptom in SYMPTOMS}
    _ask_one(_NOW, "q_now", names, told)
    show_button(tell("back"), keep, (_OTHER_NOW, ""), "now_back")
    run = guarded(callback, f"{told}: {tell('other_now')}")
    with st.bottom:
        st.button(
            tell("complaint_use"), key="now_use", type="primary", width="stretch", on_click=run, args=(*args, False)
        )


def _say_done(repair: str) -> None:
    """Note on this page that the work is done; what was put right by oneself must be said first."""
    said = (str(st.session_state.get(key) or "").strip() for key in ("own_repair", _SUSPECT))
    if repair == "own" and not any(said):
        st.session_state["problem"] = tell("own_repair_needed")
        return
    keep(DONE, repair)


def _record_repair(
    case_id: str,
    revision: int,
    remedy: str,
    spot: str,
    suspected: tuple[str, ...],
    cured: bool,  # noqa: FBT001
) -> None:
    note = RepairNote(suspected)
    _record(load(case_id, revision), write_class((remedy, spot)), note, cured=cured)


def _record_right(case_id: str, revision: int, remedy: str, spot: str, suspected: tuple[str, ...]) -> None:
    """Store that what was to be put right was right, and was left as it was."""
    keep(_OTHER_NOW, "")
    _record(load(case_id, revision), write_class((remedy, spot)), RepairNote(suspected, "right"), cured=False)


def _record(case: Case, what: str, note: RepairNote, *, cured: bool) -> None:
    """Store a repair, and with it what was suggested when it was told; not while it is open what is wrong now."""
    now = str(st.session_state.get(_NOW) or "") if find_kept(_OTHER_NOW) else ""
    if find_kept(_OTHER_NOW) and not now:
        st.session_state["problem"] = tell("now_needed")
        return
    assessment = assess(case)
    only = note.suspected if note.saw == "as_suspected" else ()  # else it is one of all that this repair mends
    d = assessment.diagnosis
    foreseen = foresee_repair(assessment.loop, d, what, only) if note.suspected else ()
    note, suggestion = replace(note, now=now, foreseen=foreseen), build_suggestion(assessment)
    record_repair(open_store(), case, what, cured=cured, note=note, suggestion=suggestion)
    for word in (DONE, _OTHER_NOW, _NOW):
        keep(word, "")


def show_repairs(case: Case, words: Words, *, may_change: bool = False) -> None:
    """List what was repaired, and whether it cured; what was noted by mistake can be taken back."""
    for number, repair in enumerate(case.repairs):
        mark = {True: f"✓ {tell('cured')}", False: f"✗ {tell('still_faulty')}", None: f"? {tell('not_known')}"}
        first, *more = (plain(text) for text in list_told(repair, words))
        told = f"{format_moment(repair.done_at)} · {first}"
        sign = f"– {tell('left_as_it_was')}" if repair.saw == "right" else mark[repair.cured]
        st.markdown("  \n".join([f"- **{sign}** · {told}", *more]))
        if may_change and repair.cured is not None:
            args = (case.case_id, case.revision, number)
            label = tell("repair_taken_back")
            run = guarded(take_back, f"{told}: {label}")
            st.button(label, key=f"take_back_repair_{number}", on_click=run, args=args)


def has_fresh_repair(case: Case) -> bool:
    """Return whether nothing was read since a repair was last told of in this visit, and what was told still stands."""
    last = case.repairs[-1] if case.repairs and case.is_of_visit(case.repairs[-1].done_at) else None
    read_at = [r.taken_at for r in case.readings if r.taken_at]
    return last is not None and last.cured is not None and (not read_at or last.done_at > max(read_at))


def take_back(case_id: str, revision: int, number: int) -> None:
    """Note that what was said of a repair does not hold: the search goes on as without it."""
    take_back_repair(open_store(), load(case_id, revision), number)
    turn_to("")
