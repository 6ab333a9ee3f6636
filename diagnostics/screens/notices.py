"""What stands above the next step: readings to look at again, and what the last correction did."""

import streamlit as st

from diagnostics.cases import Case, Reading
from diagnostics.readings import Measurement
from diagnostics.reports import (
    Words,
    list_suspects,
    name_likeliest,
    name_reading,
    tell_misreading,
    tell_read,
    tell_stop,
)
from diagnostics.units import format_quantity
from diagnostics.visit import (
    Assessment,
    find_change,
    find_doubted,
    find_hidden,
    find_most_v,
    find_silent,
    has_standing,
    list_unprotected,
    understand,
)
from diagnostics.wiring import ASSUMED

from .draft import ASKED, CORRECTING, keep, leave_form
from .session import assess, build_words, find_region, guarded, plain, show_alert, show_note, tell, turn_to


def show_notices(assessment: Assessment, *, asked: str = "") -> None:
    """Show readings that do not fit or are understood otherwise now, and what a correction did to the suspects.

    ``asked`` is the key of the measurement whose form is shown below: it needs no button that leads to it.
    """
    _show_change(assessment)
    doubted = find_doubted(assessment)
    show_unsafe(assessment, asked=asked)
    if doubted is not None and doubted not in assessment.unsafe:
        title, told = _tell_doubt(assessment, doubted)
        assumed = " ".join(line for line in assessment.case.site.note.splitlines() if line in ASSUMED)
        told += f"\n\n{tell('contradiction_assumed', assumed=plain(assumed))}" if assumed else ""
        show_alert("warning", f"**{title}**\n\n{told}")
        show_remedies(assessment, doubted, "notice", asked=asked)
    for misread in assessment.misread:
        show_alert("warning", plain(tell_misreading(misread, build_words(assessment), find_region())))
        show_remedies(assessment, misread.reading, "misread", asked=asked)


def _tell_doubt(assessment: Assessment, doubted: Reading) -> tuple[str, str]:
    """Return title and words for the reading that does not go with the rest; of a look, what should be seen there."""
    words, found = build_words(assessment), assessment.diagnosis.contradiction
    reading, stands = tell_reading(words, doubted), has_standing(assessment)
    if found is not None and found.unseen:
        which = tell("unseen_which", leader=plain(name_likeliest(assessment.diagnosis, words)), reading=reading)
        title, text = ("unseen_stands_title", "unseen_stands") if stands else ("unseen_title", "unseen")
    else:
        which = tell("contradiction_which", reading=reading)
        title, text = ("stands_title", "stands") if stands else ("contradiction_title", "contradiction")
        if not stands and not understand(assessment.loop, doubted).measurement.unit:
            text = "contradiction_words"
    return tell(title), f"{which} {tell(text)}"


def show_unprotected(case: Case, words: Words) -> None:
    """Name the detectors that protect nobody now, whatever is being looked for: somebody has to be told."""
    names, silent = list_unprotected(case, words.loop), find_silent(case)
    if find_hidden(case) is not None or not (names or silent):  # in practice nobody is to be told
        return
    named = "unprotected_among" if silent == "some" else "unprotected"
    key = "unprotected_all" if silent == "all" else named if names else "unprotected_some"
    told = plain(words.answer(",".join(names))) if names else ""
    show_note(f"⚠ {tell(key, names=told)}")


def show_unsafe(assessment: Assessment, *, asked: str = "") -> None:
    """Say stop for each reading of volts that no loop has, whether the others fit it or not: somebody may be hurt."""
    words = build_words(assessment)
    for reading in assessment.unsafe:
        show_stop_of(reading, words)
        show_remedies(assessment, reading, "unsafe", again="unsafe_again", asked=asked)


def show_stop_of(reading: Reading, words: Words) -> None:
    """Say stop for one reading of volts that no loop has."""
    title, text = tell_stop(reading, words)
    show_alert("error", f"**{title}**\n\n{plain(text)}")


def show_beyond(words: Words, m: Measurement, value: float | str) -> None:
    """Say, before a value is stored, that no source of this loop gives such volts."""
    most = format_quantity(find_most_v(words.loop), "V", 2)
    show_alert("error", tell("doubt_impossible", value=plain(words.value(m, value)), most=most))


def find_reasons(assessment: Assessment, reading: Reading) -> tuple[str, ...]:
    """Return why a reading is to be looked at again; empty for one that nobody doubts."""
    doubted = find_doubted(assessment)
    reasons = [tell("contradiction_mark")] if doubted is not None and doubted.reading_id == reading.reading_id else []
    reasons += [
        plain(tell_misreading(m, build_words(assessment), find_region()))
        for m in assessment.misread
        if m.reading.reading_id == reading.reading_id
    ]
    return tuple(reasons)


def tell_reading(words: Words, reading: Reading) -> str:
    """Return a reading as *what: value*, for Markdown; one of a loop that was described before in its own words."""
    return f"{plain(name_reading(reading, words))}: **{plain(tell_read(reading, words))}**"


def show_remedies(
    assessment: Assessment, reading: Reading, where: str, *, again: str = "take_again", asked: str = ""
) -> None:
    """Show the two ways to mend a reading, one tap each: take it again, or correct what was typed."""
    key = understand(assessment.loop, reading).measurement.key
    with st.container(horizontal=True):
        if key != asked:
            st.button(
                tell(again), key=f"{where} again {reading.reading_id}",
                on_click=guarded(_take_again), args=(key,),
            )  # fmt: skip
        st.button(
            tell("correct_it"), key=f"{where} correct {reading.reading_id}",
            on_click=guarded(correct), args=(reading.reading_id,),
        )  # fmt: skip


def _take_again(key: str) -> None:
    leave_form()
    keep(ASKED, key)
    turn_to("")


def correct(reading_id: str) -> None:
    """Show the form of a reading that is to be corrected."""
    leave_form()
    keep(CORRECTING, reading_id)
    turn_to("")


def _show_change(assessment: Assessment) -> None:
    """Say in one sentence what the last correction did: the likeliest before and now."""
    change = find_change(assessment.case)
    if change is None:
        return
    words = build_words(assessment)
    before = assess(change.before).diagnosis
    old, was = tell_reading(words, change.old), list_suspects(before, words)[0]
    now = list_suspects(assessment.diagnosis, words)[0]
    what = tell("change_back", old=old)
    if change.new is not None:
        taken = understand(assessment.loop, change.new)
        what = tell("change_corrected", old=old, new=plain(words.value(taken.measurement, taken.value)))
    key = "change_same" if was[1] == now[1] else "change_other"
    did = tell(key, before=plain(was[1]), was=was[0], now=plain(now[1]), share=now[0])
    mended = before.contradiction is not None and assessment.diagnosis.contradiction is None
    show_alert("success", " ".join([what, did, *([tell("change_fits")] if mended else [])]))
