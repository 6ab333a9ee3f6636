"""The finding guide on the work screen: its questions, its words, a shorter step, and when it disagrees."""

import streamlit as st

from diagnostics.reports import explain_next, explain_shorter, format_percent, list_expected, localize, tell_panel
from diagnostics.trees import Say, Step, TwoVoices
from diagnostics.visit import (
    Assessment,
    Guidance,
    Listener,
    answer_guide,
    choose_lead,
    find_case_guide,
    find_given,
    find_listener,
    follows_guide,
    list_answers,
    list_read_cautions,
)

from .draft import ASKED, keep, leave_form
from .session import (
    build_words,
    find_region,
    guarded,
    load,
    open_store,
    plain,
    show_alert,
    show_button,
    show_cautions,
    show_main_button,
    show_note,
    tell,
    turn_to,
)


def find_pending(assessment: Assessment) -> Step | None:
    """Return the question or instruction of the guide that comes before the next reading, or None."""
    guidance, d = assessment.guidance, assessment.diagnosis
    if guidance is None or d.contradiction is not None or d.settled is not None:
        return None
    return guidance.pending


def show_pending(assessment: Assessment, step: Step) -> None:
    """Show a question or an instruction of the guide, and take the answer."""
    guidance = _need(assessment)
    show_guide_title(guidance)
    listener = find_listener(assessment.case)
    if listener == "caller":
        st.markdown(f"**{tell('ask_caller')}:**")
    st.markdown(f"## {_speak(step.ask or step.do, listener)}")
    show_cautions(step.cautions, list_read_cautions(assessment.case, assessment.loop, step.cautions), listener)
    show_guide_notes(assessment, step)
    place = (assessment.case.case_id, assessment.case.revision, guidance.walk.at)
    first, *others = list_answers(step)
    label = tell("guide_done") if step.do is not None else _capital(first)
    show_main_button(label, _answer, (*place, first), "guide_answer")
    for number, answer in enumerate(others):
        show_button(_capital(answer), _answer, (*place, answer), f"guide_answer_{number}")


def show_stop(assessment: Assessment) -> None:
    """Show that the guide stops here: no fault of the loop must be looked for now, by the guide or by the model."""
    guidance = _need(assessment)
    end = guidance.walk.end
    show_guide_title(guidance)
    if end is not None:
        show_alert("error", _speak(end.say, find_listener(assessment.case)))
    asked = [p.step for p in guidance.walk.passed if guidance.walk.guide.steps[p.step].ask is not None]
    if asked:
        step = guidance.walk.guide.steps[asked[-1]]
        place = (assessment.case.case_id, assessment.case.revision, asked[-1])
        show_note(f"**{_speak(step.ask, find_listener(assessment.case))}**")
        show_button(_capital(step.usual or ""), _answer, (*place, step.usual), "guide_again")
    show_button(tell("finish"), turn_to, ("closing",), "finish")


def show_guide_title(guidance: Guidance) -> None:
    """Show which guide leads."""
    show_note(tell("guide_title", title=plain(localize(guidance.walk.guide.title, find_region()))))


def show_why(assessment: Assessment, *, guided: bool) -> None:
    """Show why this step; folded away what the guide says beside and what each answer would mean."""
    words, guidance = build_words(assessment), assessment.guidance
    d = assessment.diagnosis
    show_note(f"**{tell('why')}.** {plain(explain_next(d, words))}")
    rows, notes = list_expected(d, words), _list_guide_rest(assessment) if guided else []
    with st.expander(tell("expected_noted" if notes else "expected", count=str(len(rows)))):
        if guidance is not None:
            show_guide_title(guidance)
        for note in notes:
            show_note(note)
        lines = [tell("expected_line", value=plain(value), cause=plain(cause)) for value, cause in rows]
        st.markdown("\n".join(f"- {line}" for line in lines))
        if assumed := tell_panel(assessment.case.site):
            show_note(plain(assumed))


def show_guide_words(assessment: Assessment) -> None:
    """Show the guide's own words for the reading that comes next, where the guide asks for it."""
    step = find_own_step(assessment)
    if step is not None and step.say is not None:
        show_note(_speak(step.say, find_listener(assessment.case)))


def _list_guide_rest(assessment: Assessment) -> list[str]:
    """Return what the guide says beside: for the past of this loop, or that it has ended and where."""
    guidance = assessment.guidance
    if guidance is None:
        return []
    walk = guidance.walk
    ended = walk.end if walk.reached == "end" else None
    told = [f"{_speak(ended.say)} {tell('guide_ended')}"] if ended else []
    if find_own_step(assessment) is None:
        return told
    steps = [walk.guide.steps[name] for name in (*(passed.step for passed in walk.passed[-3:]), walk.at)]
    return [*told, *(note for step in steps for note in _list_guide_notes(assessment, step))]


def find_own_step(assessment: Assessment) -> Step | None:
    """Return the step of the guide that the suggested measurement belongs to, or None: the model suggests it."""
    walk = assessment.guidance.walk if assessment.guidance else None
    m = assessment.diagnosis.next.measurement if assessment.diagnosis.next else None
    if walk is None or walk.step is None or m is None or walk.measurement is None:
        return None
    return walk.step if walk.measurement.key == m.key else None


def show_guide_notes(assessment: Assessment, step: Step) -> None:
    """Show what the guide says for the past of this loop."""
    for note in _list_guide_notes(assessment, step):
        show_note(note)


def _list_guide_notes(assessment: Assessment, step: Step) -> list[str]:
    if find_listener(assessment.case) == "caller":  # they are written for whoever stands there with a screwdriver
        return []
    some = [text for context in assessment.case.contexts for name, text in step.notes.items() if name == context]
    return [f"{tell('guide_note')} {plain(localize(text, find_region()))}" for text in some]


def show_doubt(assessment: Assessment) -> None:
    """Say so where what the guide can still end at is improbable by the readings."""
    doubt = assessment.guidance.doubt if assessment.guidance else None
    if doubt is not None:
        told = tell("guide_doubt", percent=format_percent(doubt.probability))
        show_alert("warning", f"**{tell('guide_doubt_title')}**\n\n{told}")


def show_shorter(assessment: Assessment) -> None:
    """Propose the model's own step where it tells much more for the minutes; the person may follow either."""
    action = assessment.diagnosis.next
    own = action.instead if action else None
    told = explain_shorter(action) if action else None
    if own is None or own.measurement is None or told is None:
        return
    times, minutes = told
    with st.container(border=True):
        why = tell("guide_shorter_why", times=times, why=tell("minutes_from", minutes=minutes).capitalize() + ".")
        asked = plain(build_words(assessment).ask(own.measurement))
        st.markdown(f"**{tell('guide_shorter')}.** {asked}\n\n{why}")
        show_button(tell("guide_shorter_do"), _take_shorter, (own.measurement.key,), "guide_shorter")


def show_answers(assessment: Assessment) -> None:
    """Show what was answered to the guide's questions; a tap in passing can be answered anew."""
    guidance = assessment.guidance
    if guidance is None:
        return
    given = find_given(assessment.case)
    steps = guidance.walk.guide.steps
    asked = [p.step for p in guidance.walk.passed if p.step in given and steps[p.step].ask is not None]
    if not asked:
        return
    case = assessment.case
    with st.expander(f"{tell('guide_answers')} ({len(asked)})"):
        for name in asked:
            st.markdown(f"{_speak(steps[name].ask)} **{_capital(given[name])}**")
            for number, answer in enumerate(a for a in list_answers(steps[name]) if a != given[name]):
                label = tell("guide_rather", answer=_capital(answer))
                show_button(label, _answer, (case.case_id, case.revision, name, answer), f"anew_{name}_{number}")


def show_lead(assessment: Assessment) -> None:
    """Let the person choose who leads: the finding guide, or the model alone."""
    case = assessment.case
    if find_case_guide(case) is None:
        return
    follows = follows_guide(case)
    label = tell("guide_leave") if follows else tell("guide_follow")
    st.button(label, key="lead", on_click=guarded(_lead, label), args=(case.case_id, case.revision, not follows))


def _lead(case_id: str, revision: int, guide: bool) -> None:  # noqa: FBT001 - callbacks take positions
    choose_lead(open_store(), load(case_id, revision), guide=guide)


def _take_shorter(key: str) -> None:
    leave_form()
    keep(ASKED, key)


def _answer(case_id: str, revision: int, step: str, answer: str) -> None:
    answer_guide(open_store(), load(case_id, revision), step, answer)


def _need(assessment: Assessment) -> Guidance:
    if assessment.guidance is None:
        raise TypeError("there is no guide for this complaint")
    return assessment.guidance


def _speak(say: Say | None, listener: Listener = "technician") -> str:
    text = say.caller if isinstance(say, TwoVoices) and listener == "caller" else str(say or "")
    return plain(localize(text, find_region()))


def _capital(text: str) -> str:
    return plain(text[:1].upper() + text[1:])
