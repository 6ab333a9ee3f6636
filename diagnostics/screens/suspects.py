"""The suspects, drawn and listed, and the readings so far."""

import streamlit as st

from diagnostics.cases import Reading
from diagnostics.readings import Measurement
from diagnostics.reports import (
    Words,
    describe_picture,
    find_shares,
    list_not_apart,
    list_shortened,
    list_suspects,
    render_loop,
)
from diagnostics.visit import Assessment, take_back_reading

from .notices import correct, find_reasons, show_remedies, tell_reading
from .session import (
    build_words,
    format_moment,
    guarded,
    is_dark,
    load,
    open_store,
    plain,
    show_button,
    show_note,
    tell,
    turn_to,
)
from .timeline import TIMELINE

_MOST_SHOWN = 1  # suspects that stand beside the picture; the others are a tap away


def show_suspects(assessment: Assessment, next_: Measurement | None, *, folded: bool = False) -> None:
    """Show the loop with its suspects, then the list of them; ``folded`` away once nothing is left to look for."""
    if folded:
        with st.expander(tell("suspects_title")):
            _show_picture(assessment, next_)
            _show_others(assessment)
        return
    st.subheader(tell("suspects_title"), anchor=False)
    _show_picture(assessment, next_)
    others = _list_lines(assessment, build_words(assessment))[_MOST_SHOWN:]
    with st.expander(tell("suspects_others", count=str(len(others)))):
        _show_others(assessment)


def _show_picture(assessment: Assessment, next_: Measurement | None) -> None:
    words, d = build_words(assessment), assessment.diagnosis
    shares = find_shares(d)
    drawn = render_loop(assessment.loop, shares, next_, dark=is_dark())
    st.image(drawn, width="stretch", alt=describe_picture(assessment.loop, shares, next_, words))
    names = [plain(words.detector(name)) for name in list_shortened(assessment.loop, shares, next_)]
    if names:
        show_note(tell("picture_names", names="; ".join(names)))
    show_note("  \n".join(_list_lines(assessment, words)[:_MOST_SHOWN]))


def _list_lines(assessment: Assessment, words: Words) -> list[str]:
    return [f"**{percent}** {plain(text)}" for percent, text in list_suspects(assessment.diagnosis, words)]


def _show_others(assessment: Assessment) -> None:
    """Show how to read the picture, the suspects beyond the first, and what nothing tells apart."""
    words = build_words(assessment)
    show_note(tell("picture_key"))
    st.markdown("\n".join(f"- {line}" for line in _list_lines(assessment, words)[_MOST_SHOWN:]))
    _show_not_apart(assessment, words)
    if any(reading.condition != "absent" for reading in assessment.case.readings):
        show_button(tell("timeline_title"), turn_to, (TIMELINE,), "timeline")


def _show_not_apart(assessment: Assessment, words: Words) -> None:
    """List what is only counted among the suspects, since nothing at hand tells it apart."""
    for group in list_not_apart(assessment.diagnosis, words):
        st.markdown("\n".join([f"**{tell('not_apart_list')}**\n", *(f"- {plain(text)}" for text in group)]))


def show_readings(assessment: Assessment, *, may_change: bool = True, unfolded: bool = False) -> None:
    """List the readings in the order taken, folded away unless they are what is asked about.

    Each can be corrected or taken back.
    """
    case, words = assessment.case, build_words(assessment)
    if not case.readings and not case.retracted:
        return
    with st.expander(f"{tell('readings_title')} ({len(case.readings)})", expanded=unfolded, key="readings"):
        for number, reading in enumerate(case.readings, 1):
            _show_reading(assessment, words, number, reading, may_change=may_change)
        for item in case.retracted:
            show_note(f"{tell('taken_back')}: {_tell_reading(words, item.reading)}")


def _tell_reading(words: Words, reading: Reading) -> str:
    when = f", {format_moment(reading.taken_at)}" if reading.taken_at else ""
    absent = f" · {tell('absent_mark')}" if reading.condition == "absent" else ""
    return f"{tell_reading(words, reading)}{when}{absent}"


def _show_reading(assessment: Assessment, words: Words, number: int, reading: Reading, *, may_change: bool) -> None:
    st.markdown(f"{number}. {_tell_reading(words, reading)}")
    if not may_change:
        return
    case, reasons = assessment.case, find_reasons(assessment, reading)
    for reason in reasons:
        st.markdown(f"⚠ {reason}")
    if reasons:
        show_remedies(assessment, reading, "listed")
    with st.container(horizontal=True):
        if not reasons:
            st.button(
                tell("correct"), key=f"correct {reading.reading_id}",
                on_click=guarded(correct), args=(reading.reading_id,),
            )  # fmt: skip
        args = (case.case_id, case.revision, reading.reading_id)
        run = guarded(_take_back, f"{tell_reading(words, reading)}: {tell('take_back')}")
        st.button(tell("take_back"), key=f"take_back {reading.reading_id}", on_click=run, args=args)


def _take_back(case_id: str, revision: int, reading_id: str) -> None:
    take_back_reading(open_store(), load(case_id, revision), reading_id, tell("why_taken_back"))
