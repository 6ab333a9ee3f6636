"""How the search narrowed down: a picture of what was believed after the complaint and after each reading."""

from typing import Final

import streamlit as st

from diagnostics.cases import Case
from diagnostics.reports import describe_timeline, name_causes, render_timeline
from diagnostics.visit import trace_case

from .notices import tell_reading
from .session import assess, build_words, is_dark, plain, show_button, show_note, tell, turn_to

TIMELINE: Final = "timeline"
_WIDE_PX: Final = 560  # at most; a phone has less


def show_timeline(case: Case) -> None:
    """Show a bar for each stage, the list that names their parts, and the way back."""
    assessment = assess(case)
    words = build_words(assessment)
    st.title(tell("timeline_title"), anchor=False)
    show_note(tell("timeline_lead"))
    counted = [r for r in case.readings if r.condition != "absent"]
    labels = [tell("timeline_start")]
    labels += [f"{n}. {_bare(tell_reading(words, r))}" for n, r in enumerate(counted, 1)]
    stages = trace_case(case)
    drawn = render_timeline(stages, labels, dark=is_dark())
    st.image(drawn, width=_WIDE_PX, alt=describe_timeline(stages, labels, words))
    st.markdown("\n".join(f"- **{letter}** {plain(cause)}" for letter, cause in name_causes(stages, words)))
    show_button(tell("back"), turn_to, ("",), "timeline_back")


def _bare(told: str) -> str:
    """Return words meant for Markdown without its marks."""
    return told.replace("**", "").replace("\\", "")
