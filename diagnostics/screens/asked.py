"""Which test of the list is just being told of, kept in the address: why it is not done, or that it is told anew."""

import streamlit as st

from .draft import find_kept, keep

ASKED, CHANGED, WHY = "test", "change", "why"


def ask(key: str) -> None:
    """Ask why this test is not done; a reason that is typed already moves along with its field."""
    keep(ASKED, key)
    keep(CHANGED, "")


def change(key: str) -> None:
    """Show again what can be said of a test that was told already."""
    keep(CHANGED, key)


def leave(key: str) -> None:
    """Leave what was being said of one test; a reason being typed for another stays."""
    if find_kept(ASKED) == key:
        keep(ASKED, "")
        keep(WHY, "")
        st.session_state.pop(WHY, None)
    if find_kept(CHANGED) == key:
        keep(CHANGED, "")
