"""How a loop was left: read once more when it is sound, and held against what is read at the next visit."""

from dataclasses import replace
from datetime import UTC, datetime

import streamlit as st

from diagnostics.cases import Baseline, Case, Reading, build_reading_id
from diagnostics.errors import DiagnosticsError
from diagnostics.readings import Measurement, parse_value
from diagnostics.reports import Words
from diagnostics.visit import (
    answer_baseline,
    build_bench,
    build_reading,
    find_baseline,
    find_hidden,
    find_sound,
    is_baseline_asked,
    is_beyond,
    is_example,
    keep_baseline,
    keeps_baseline,
    list_as_left,
    list_left_so_far,
    list_to_leave,
    record_readings,
    take_back_reading,
    understand,
)

from .draft import VIEW, ask_text, keep
from .notices import show_beyond
from .session import (
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
    write_problem,
)

AS_LEFT, EARLIER = "as_left", "as_left_earlier"  # sides of a case: the form, and what an earlier case read
_NONE_FOUND, _FORM = "no_baseline", "left_form_id"


def show_left(case: Case, words: Words) -> None:
    """On a restored case, show what was read since the repair, and offer to read it."""
    if find_hidden(case) is not None:  # an invented place has no next visit
        return
    st.subheader(tell("left_title"), anchor=False)
    readings = list_left_so_far(case)
    for number, reading in enumerate(readings):
        st.markdown(f"- {_tell(reading, words)}")
        args = (case.case_id, case.revision, reading.reading_id)
        run = guarded(_take_back, f"{_tell(reading, words)}: {tell('left_take_back')}")
        st.button(tell("left_take_back"), key=f"left_back_{number}", on_click=run, args=args)
    show_note(tell("left_why"))
    show_button(tell("left_open"), keep, (VIEW, AS_LEFT), "left_open")


def show_left_form(case: Case) -> None:
    """Ask for the readings of the sound loop that need no ladder, all on one screen."""
    loop = build_bench(case.site).loop
    words = Words(loop, region=find_region())
    some = list_to_leave(loop)
    st.title(tell("left_form"), anchor=False)
    show_messages()
    st.markdown(tell("left_why"))
    show_cautions(tuple(dict.fromkeys(c for m in some for c in m.cautions)))
    st.session_state.setdefault(_FORM, build_reading_id())
    for m in some:
        text = ask_text(plain(words.name(m)), _name_field(m), tell("type_volts"))
        if text:
            _show_understood(m, words, text)
    show_button(tell("back"), keep, (VIEW, ""), "left_form_back")
    show_main_button(tell("left_keep"), _keep_readings, (case.case_id, case.revision), "left_keep")


def _name_field(m: Measurement) -> str:
    return f"left {m.key}"


def _show_understood(m: Measurement, words: Words, text: str) -> None:
    """Say what was understood, and ask about what no sound loop shows."""
    try:
        value = parse_value(m, words.loop, text)
    except DiagnosticsError as error:
        show_alert("warning", write_problem(error))
        return
    told = plain(words.value(m, value))
    if is_beyond(words.loop, m, value):
        show_beyond(words, m, value)
        return
    sound = find_sound(words.loop, m, value) if isinstance(value, float) else None
    if sound is None:
        show_note(tell("understood", value=told))
    else:
        show_alert("warning", f"**{told}**. {tell('left_odd', value=plain(words.value(m, sound.value)))}")


def _keep_readings(case_id: str, revision: int) -> None:
    """Store what was typed, all or nothing; the complaint is absent then, so no reading blames a fault."""
    form = str(st.session_state.get(_FORM, ""))
    case = load(case_id, revision)
    loop = build_bench(case.site).loop
    if not form:  # a second tap: the first has stored them
        return
    given = [(m, str(st.session_state.get(_name_field(m)) or "").strip()) for m in list_to_leave(loop)]
    given = [(m, text) for m, text in given if text]
    if not given:
        st.session_state["problem"] = tell("left_none")
        return
    for m, text in given:
        parse_value(m, loop, text)  # what cannot be read is refused before anything is stored
    readings = [build_reading(m, text, f"{form[:-2]}{number:02x}") for number, (m, text) in enumerate(given)]
    now = datetime.now(UTC)
    record_readings(open_store(), case, [replace(r, taken_at=now, condition="absent") for r in readings])
    st.session_state.pop(_FORM, None)
    turn_to("")


def _tell(reading: Reading, words: Words) -> str:
    taken = understand(words.loop, reading)
    when = f", {format_moment(reading.taken_at)}" if reading.taken_at else ""
    return f"{plain(words.name(taken.measurement))}: **{plain(words.value(taken.measurement, taken.value))}**{when}"


def _tell_all(readings: tuple[Reading, ...], words: Words) -> str:
    return "\n".join(f"- {_tell(r, words)}" for r in readings)


def _take_back(case_id: str, revision: int, reading_id: str) -> None:
    take_back_reading(open_store(), load(case_id, revision), reading_id, tell("why_taken_back"))


def show_kept(case: Case, words: Words) -> None:
    """On a closed case, show the readings that are this site's baseline, and let a person decide against them."""
    readings = list_as_left(case)
    if not readings:
        return
    kept = keeps_baseline(case)
    st.subheader(tell("left_title"), anchor=False)
    st.markdown(_tell_all(readings, words))
    kept_as = "left_kept_example" if is_example(case.site) else "left_kept"
    show_note(tell(kept_as if kept else "left_not_kept"))
    label = tell("left_drop" if kept else "left_keep_again")
    show_button(label, _decide, (case.case_id, case.revision, not kept), "left_decide")


def _decide(case_id: str, revision: int, keep_it: bool) -> None:  # noqa: FBT001 - callbacks take positions
    keep_baseline(open_store(), load(case_id, revision), keep=keep_it)


def find_question(case: Case) -> Baseline | None:
    """Return the baseline that this person is still to be asked about, or None; of an example only where wanted."""
    found = _find_earlier(case)
    return found if found is not None and (find_view() == EARLIER or not is_example(case.site)) else None


def show_offer(case: Case) -> None:
    """On an example that somebody has left sound before, offer what was read then; it is not asked about by itself."""
    if _find_earlier(case) is not None and is_example(case.site):
        show_button(tell("baseline_of_example"), keep, (VIEW, EARLIER), "baseline_of_example")


def _find_earlier(case: Case) -> Baseline | None:
    """Return how this loop was left at an earlier visit, where nobody has said yet what became of that; or None.

    That there is none is remembered for this page: the store is not searched at every tap.
    """
    mark = f"{case.case_id} {case.site_revision}"
    if find_hidden(case) is not None or is_baseline_asked(case) or st.session_state.get(_NONE_FOUND) == mark:
        return None
    found = find_baseline(open_store(), case)
    if found is None:
        st.session_state[_NONE_FOUND] = mark
    return found


def show_question(case: Case, baseline: Baseline) -> None:
    """Ask once whether anything has changed since the loop was left sound."""
    earlier = open_store().load_case(baseline.case_id)
    when = format_moment(earlier.leaving.at) if earlier.leaving else baseline.case_id
    words = Words(build_bench(case.site).loop, region=find_region())
    st.title(tell("baseline_title"), anchor=False)
    show_messages()
    st.markdown(tell("baseline_asked", when=when, case=plain(baseline.case_id)))
    st.markdown(_tell_all(baseline.readings, words))
    place = (case.case_id, case.revision)
    show_button(tell("baseline_changed"), _answer, (*place, False), "baseline_changed")
    show_main_button(tell("baseline_same"), _answer, (*place, True), "baseline_same")


def _answer(case_id: str, revision: int, same: bool) -> None:  # noqa: FBT001 - callbacks take positions
    case, store = load(case_id, revision), open_store()
    found = find_baseline(store, case) if same else None
    answer_baseline(store, case, found or Baseline())
    if find_view() == EARLIER:  # back to the complaint, of which some may have been said already
        keep(VIEW, "")


def show_held(case: Case, words: Words) -> None:
    """Show the readings that this visit is held against, and let a person take them out again."""
    readings = case.baseline.readings
    if not readings:
        return
    with st.expander(tell("baseline_held", count=str(len(readings)))):
        st.markdown(_tell_all(readings, words))
        args = (case.case_id, case.revision, False)
        label = tell("baseline_drop")
        st.button(label, key="baseline_drop", on_click=guarded(_answer, label), args=args)
