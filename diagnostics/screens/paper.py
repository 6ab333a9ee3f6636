"""The loop on paper, before the ladder: the design check, and what the panel and the measurements cannot see."""

from collections.abc import Sequence

import streamlit as st

from diagnostics.cases import Case
from diagnostics.proving import Design, Testability, check_design, check_testability
from diagnostics.reports import (
    Section,
    TestabilityTable,
    build_design_table,
    build_testability_table,
)
from diagnostics.wiring import Loop, build_loop

from .session import find_region, guarded, plain, show_alert, show_button, show_note, tell, turn_to

PAPER = "paper"
_ASKED = "paper_asked"


def show_paper(case: Case) -> None:
    """Show the design check at once, and testability, which takes its time, when it is asked for."""
    loop = build_loop(case.site)
    st.title(tell("paper_title"), anchor=False)
    show_note(tell("paper_lead"))
    show_button(tell("back"), turn_to, ("",), "paper_back")
    _show_design(_check_design(loop, case.site_text), loop)
    if st.session_state.get(_ASKED) != case.site_text:
        st.button(tell("paper_testability"), key="paper_testability", on_click=guarded(_ask), args=(case.site_text,))
        show_note(tell("paper_testability_note", count=str(len(loop.detectors))))
        return
    with st.spinner(tell("paper_working")):
        told = _check_testability(loop, case.site_text)
    _show_testability(build_testability_table(told, loop, find_region()))
    show_button(tell("back"), turn_to, ("",), "paper_back_below")


def _ask(site_text: str) -> None:
    st.session_state[_ASKED] = site_text


@st.cache_resource(max_entries=16, show_spinner=False)
def _check_design(_loop: Loop, site_text: str) -> Design:
    del site_text  # it names the loop for the cache
    return check_design(_loop)


@st.cache_resource(max_entries=16, show_spinner=False)
def _check_testability(_loop: Loop, site_text: str) -> Testability:
    del site_text  # it names the loop for the cache
    return check_testability(_loop)


def _show_design(design: Design, loop: Loop) -> None:
    table = build_design_table(design, loop, find_region())
    st.subheader(table.title, anchor=False)
    if not table.told:
        show_alert("success", tell("paper_sound"))
    for severity, sentence, hint in table.told:
        show_alert("warning", f"**{plain(severity)}.** {plain(sentence)} {plain(hint)}")
    with st.expander(tell("paper_numbers", count=str(len(table.lines)))):
        for line in table.lines:
            verdict = f" - {plain(line.verdict)}" if line.verdict else ""
            below = [line.worst, f"{line.limit} ({line.source})" if line.limit else ""]
            more = "".join(f"  \n:small[{plain(text)}]" for text in below if text)
            st.markdown(f"**{plain(line.what)}**: {plain(line.value)}{verdict}{more}")
        show_note(plain(table.outranked))


def _show_testability(table: TestabilityTable) -> None:
    st.subheader(table.title, anchor=False)
    st.markdown(plain(table.lead))
    for section in (table.unseen, table.alike, table.least):
        with st.expander(section.title):
            _show_section(section)
    with st.expander(tell("paper_kit")):
        for title, text in table.cautions:
            st.markdown(f"⚠ **{plain(title)}.** {plain(text)}")
        for some in table.lists:
            st.markdown(f"**{plain(some.title)}**")
            st.markdown("\n".join(f"1. {plain(place)}: {plain('; '.join(names))}" for place, names in some.stops))
    show_note(plain(table.outranked))


def _show_section(section: Section) -> None:
    for sentence in section.told:
        st.markdown(plain(sentence))
    for row in section.rows:
        st.markdown(_tell_row(section.heads, row))


def _tell_row(heads: Sequence[str], row: Sequence[str]) -> str:
    """Return a row as one paragraph: a table of five columns is wider than a phone."""
    more = "".join(f"  \n:small[{head}: {plain(cell)}]" for head, cell in zip(heads[1:], row[1:], strict=True) if cell)
    return f"**{plain(row[0])}**{more}"
