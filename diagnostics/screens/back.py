"""What this visit lifted, bridged or took off, and has not seen put back."""

import streamlit as st

from diagnostics.cases import Case
from diagnostics.readings import Measurement
from diagnostics.reports import Words
from diagnostics.visit import build_bench, find_disturbances, find_measurement, put_back

from .session import guarded, load, open_store, plain, show_note, tell

# What is landed again after ohms: whether the panel was off, and whether the loop comes home.
_PAIRS = {
    (True, False): "put_back_powered", (False, False): "put_back_lifted",
    (True, True): "put_back_powered_both", (False, True): "put_back_lifted_both",
}  # fmt: skip


def show_disturbed(case: Case, words: Words) -> None:
    """List what this visit lifted, bridged or took off, each to be ticked once it is back."""
    some = [d.measurement for d in find_disturbances(case, words.loop)]
    if not some:
        return
    with st.container(border=True):
        st.markdown(f"**{tell('put_back_title')}**")
        for number, m in enumerate(some):
            args = (case.case_id, case.revision, m.key)
            label = f"**{name_disturbed(m, words)}** ({plain(words.name(m))})"
            st.checkbox(label, key=f"back_{number} {m.key}", on_change=guarded(_put_back, label), args=args)
        show_note(tell("put_back_all"))


def name_disturbed(m: Measurement, words: Words) -> str:
    """Return what is to be put back after a measurement, as a thing that is done."""
    if m.mode.word == "on_battery":
        return tell("put_back_mains")
    if m.mode.word == "known_resistor":
        return tell("put_back_known")
    if m.kind == "ohms":
        return tell(_PAIRS[m.mode.is_powered_down, comes_home(m, words)])
    key = {
        "return_lifted": "put_back_return",
        "cut_off": "put_back_cut_off",
        "opened": "put_back_opened",
        "pair_lifted": "put_back_pair",
        "head_off": "put_back_head",
    }
    named = key.get(
        m.mode.word, "put_back_heads" if m.beside else "put_back_meter" if m.data.nights else "put_back_other"
    )
    return tell(named, at=plain(words.detector(m.place)) if m.mode.detector else "", beside=_name_beside(m, words))


def comes_home(m: Measurement, words: Words) -> bool:
    """Return whether a measurement lifted the pair of a loop that comes home, so that both its pairs are off."""
    ends = {m.mode.detector, *(end.partition(".")[2].rstrip("+-") for end in (m.red, m.black))}
    return any(z.comes_back and ends & {z.name, f"{z.name}r"} for z in words.loop.zones)


def _name_beside(m: Measurement, words: Words) -> str:
    return plain(words.detector(m.beside)) if m.beside else ""


def _put_back(case_id: str, revision: int, key: str) -> None:
    case = load(case_id, revision)
    m = find_measurement(build_bench(case.site).loop, key)
    if m is not None:  # it was shown
        put_back(open_store(), case, m)
