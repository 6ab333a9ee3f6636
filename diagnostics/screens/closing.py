"""How a case is left: put back, told, noted, closed; nothing may stay lifted, bridged or off unseen."""

import streamlit as st

from diagnostics.cases import CLOSINGS, Case
from diagnostics.reports import Words, tell_closing
from diagnostics.visit import (
    Assessment,
    build_bench,
    close_case,
    find_disturbances,
    find_listener,
    find_silent,
    find_stage,
    is_proved,
    list_beyond,
    list_unmended,
    list_unprotected,
    list_untested,
)

from .back import name_disturbed, show_disturbed
from .baseline import show_left
from .draft import VIEW, ask_text, drop_leaving, keep, keep_choice, recall
from .longtext import ask_note
from .notices import show_stop_of, show_unprotected
from .proof import name_untested, show_denials
from .record import show_record_so_far
from .safety import BY, TOLD
from .seen import show_other_found
from .session import (
    assess,
    build_words,
    find_region,
    find_view,
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
)

PROOF = "proof"
_PROVED = "mended"  # the one closing that needs the tests
_FIELD, _NOTE = "closing", "note"
_SOUND = 0.02  # a loop that is less likely to be sound, by what was read, is called so only with a reason; invented
# What must be said before a case may be left so: the fields, and what to do about each.
_NEEDED = {
    _PROVED: ((TOLD, "told_needed_mended"), (BY, "by_needed")),
    "left_impaired": ((TOLD, "told_needed"), (BY, "by_needed")),
    "not_ours": ((TOLD, "told_needed_not_ours"), (BY, "by_needed")),
    "waiting": ((_NOTE, "note_needed"),),
}


def show_closing(assessment: Assessment) -> None:
    """Ask how the case is left; nothing may stay lifted, bridged or off."""
    case, words = assessment.case, build_words(assessment)
    cured = any(r.cured for r in case.repairs)
    st.title(tell("closing_title"), anchor=False)
    for reading in assessment.unsafe:
        show_stop_of(reading, words)
    show_unprotected(case, words)
    stands = bool(find_disturbances(case, words.loop))
    if stands:  # a message stands where something can be done about it
        show_messages()
        show_disturbed(case, words)
    chosen = _choose(case, words)
    if not stands:
        show_messages()
    ask_text(tell("told_who"), TOLD, tell("told_hint"))
    ask_note(tell("note_waiting" if chosen == "waiting" else "note"), _NOTE)
    ask_text(tell("closed_by"), BY, "", 80)
    show_other_found(case, words)
    _show_defects(assessment, words)
    if find_stage(case) == "closing" and find_listener(case) == "technician":  # it is measured
        show_left(case, words)
    if find_view() == "closing":
        show_button(tell("back"), turn_to, ("",), "closing_back")
    if cured:
        show_button(tell("tests_again"), keep, (VIEW, PROOF), "tests_again")
    show_denials(case)
    show_record_so_far(case)
    show_main_button(tell("close_case"), _close, (case.case_id, case.revision), "close_case")


def _show_defects(assessment: Assessment, words: Words) -> None:
    """Say what is not supervised here, or is never reset: it is reported, whatever the complaint was."""
    told = dict.fromkeys((*words.defects(), *words.met_defects(list_unmended(assessment.case, assessment.taken))))
    if told:
        lines = "\n".join(f"- {plain(text)}" for text in told)
        show_alert("warning", f"**{tell('defects_title')}**\n\n{lines}")


def _choose(case: Case, words: Words) -> str:
    """Ask how the case is left; *put right, and tested* is there only once every test of the list is done."""
    proved = is_proved(case, words.loop)
    cured = any(r.cured for r in case.repairs)
    unsafe = bool(list_beyond(case, words.loop))
    proved = proved and not unsafe
    barred = () if proved else (_PROVED, "no_fault_found") if cured or unsafe else (_PROVED,)
    told = {str(c): tell_closing(c, find_region()) for c in CLOSINGS if c and c not in barred}
    names = {c: name for c, (name, _) in told.items()}
    default = _PROVED if proved else ""
    if not proved:
        _show_untested(case, words)
    recall(_FIELD, ("", *names), default)
    if st.session_state[_FIELD] not in names:
        st.session_state[_FIELD] = None
    chosen = st.radio(
        tell("closing_title"), list(names), format_func=names.__getitem__, key=_FIELD, label_visibility="collapsed",
        captions=[text for _, text in told.values()],
    )  # fmt: skip
    keep_choice(_FIELD, chosen or "", default)
    return chosen or ""


def _show_untested(case: Case, words: Words) -> None:
    """Say why *put right, and tested* is not to be chosen, and name each test that lacks."""
    name = tell_closing(_PROVED, find_region())[0]
    missing = list_untested(case, words.loop) if any(r.cured for r in case.repairs) else ()
    if not missing:
        show_note(tell("mended_not_yet", closing=name))
        return
    told = tell("mended_not_tested", closing=name, count=str(len(missing)))
    show_alert("warning", f"**{told}**\n\n{name_untested(missing, words)}")


def _read(field: str) -> str:
    return str(st.session_state.get(field) or "").strip()


def _close(case_id: str, revision: int) -> None:
    case, chosen = load(case_id, revision), _read(_FIELD)
    problem = _find_problem(case, chosen)
    if problem:
        st.session_state["problem"] = problem
        return
    closing = next(c for c in CLOSINGS if c == chosen)
    close_case(open_store(), case, closing, told=_read(TOLD), note=_read(_NOTE), by=_read(BY))
    drop_leaving()
    turn_to("")


def _find_amiss(case: Case) -> str:
    """Return that what was read settles a fault, or is not a sound loop's; an empty text where it may be one's."""
    assessment = assess(case)
    diagnosis, words = assessment.diagnosis, build_words(assessment)
    first = diagnosis.candidates[0].faults
    if diagnosis.settled is not None and first:
        return tell("no_fault_why", fault=plain(words.faults(first)))
    sound = sum(c.probability for c in diagnosis.candidates if not c.faults)
    amiss = bool(list_unprotected(case, words.loop)) or (bool(assessment.taken) and sound < _SOUND)
    return tell("no_fault_amiss") if amiss else tell("no_fault_silent") if find_silent(case) else ""


def _find_problem(case: Case, chosen: str) -> str:
    """Return why a case cannot be left so, and what to do, or an empty text."""
    if not chosen:
        return tell("choose_first")
    loop = build_bench(case.site).loop
    if chosen == _PROVED and not is_proved(case, loop):
        return tell("tests_first")
    standing = [d.measurement for d in find_disturbances(case, loop)]
    if standing and chosen != "left_impaired":
        words = Words(loop, region=find_region())
        return tell("put_back_left", names="; ".join(name_disturbed(m, words) for m in standing))
    if chosen == "no_fault_found" and not _read(_NOTE) and (problem := _find_amiss(case)):
        return problem
    return next((tell(asked) for field, asked in _NEEDED.get(chosen, ()) if not _read(field)), "")
