"""The complaint: what is wrong, what is known of the loop's past, what this person has at hand.

On a new case no complaint is chosen: the first of a list, taken in passing, would lead the search astray.
"""

from collections.abc import Mapping
from dataclasses import replace

import streamlit as st

from diagnostics.cases import Case
from diagnostics.faults import CONTEXTS, SIGNS
from diagnostics.reasoning import SYMPTOMS
from diagnostics.reports import Words, read_words, tell_symptom
from diagnostics.visit import (
    find_about,
    find_listener,
    find_met_at,
    is_told,
    list_met_at,
    prepare,
    tell_complaint,
    tell_met,
)
from diagnostics.wiring import Loop, build_loop

from .baseline import show_offer
from .draft import find_kept, keep, keep_choice, keep_choices, recall, recall_choices
from .session import (
    find_region,
    find_view,
    guarded,
    load,
    open_store,
    plain,
    show_button,
    show_main_button,
    show_messages,
    show_note,
    tell,
    turn_to,
)

_OTHER, _BARE = "other_symptom", "nothing_at_hand"
_CHOSEN, _CONTEXTS, _TOOLS, _LOOP, _WHERE = "symptom", "contexts", "tools", "about_loop", "where_met"
# In the order of where one sees it first: on the panel, in a test, at the detectors. What no group names is a test's.
_GROUPS: Mapping[str, tuple[str, ...]] = {
    "symptom_panel": (
        "constant_trouble", "alarm_with_nothing_there", "will_not_reset", "supply_trouble", "earth_trouble",
    ),
    "symptom_test": (
        "one_does_not_report", "only_first_report", "some_do_not_report", "none_report", "wrong_zone_reports",
        "no_trouble_with_head_off",
    ),
    "symptom_lamps": ("detectors_dark",),
    "symptom_else": (_OTHER,),
}  # fmt: skip


def show_complaint(case: Case) -> None:
    """Ask for the complaint; what was said before is filled in, and nothing on a new case."""
    st.title(tell("complaint_title"), anchor=False)
    show_messages()
    _ask_symptom(case)
    if len(case.site.loops) > 1:
        _ask_loop(case)
    _ask_where(case)
    words = read_words(find_region())
    contexts, tools = dict(words.contexts), {**words.tools, _BARE: tell(_BARE)}
    at_hand = () if case.can is None else tuple(t for t in tools if t in case.can) or (_BARE,)
    _ask_several("q_context", _CONTEXTS, contexts, tuple(c for c in (*CONTEXTS, *SIGNS) if c in case.contexts))
    if find_listener(case) == "technician":  # nothing that is asked of a caller needs a tool
        _ask_several("q_tools", _TOOLS, tools, at_hand)
        if not st.session_state.get(_TOOLS):
            show_note(tell("q_tools_none"))
    show_offer(case)
    if find_view() == "complaint":
        show_button(tell("back"), turn_to, ("",), "complaint_back")
    show_main_button(tell("complaint_use"), _use, (case.case_id, case.revision), "complaint_use")


def _ask_symptom(case: Case) -> None:
    """Ask for one complaint, in groups of which each clears the others; what is chosen stands in the address."""
    names = {s: tell_symptom(s, find_region()) for s in SYMPTOMS} | {_OTHER: tell(_OTHER)}
    chosen = find_kept(_CHOSEN) or ((case.symptom or _OTHER) if is_told(case) else "")
    st.markdown(f"**{tell('q_symptom')}**")
    for group, options in _list_groups().items():
        st.session_state.setdefault(group, chosen if chosen in options else None)
        st.radio(
            tell(group), options, index=None, key=group, format_func=names.__getitem__,
            on_change=guarded(_choose), args=(case.case_id, group),
        )  # fmt: skip


def _ask_where(case: Case) -> None:
    """Ask at which detector a complaint of one was met: whoever knows it spares the search for it."""
    loop, symptom = build_loop(case.site), find_kept(_CHOSEN) or case.symptom or ""
    about = find_kept(_LOOP) or find_about(case)
    places = [at for at in list_met_at(loop, symptom) if not about or _is_on(loop, at, about)]
    if not places:
        return
    words = Words(loop, region=find_region())
    names = {"": tell("where_unknown")} | {name: words.detector(name) for name in places}
    default = find_met_at(case, symptom)
    recall(_WHERE, tuple(names), default)
    # A list to choose from knows no Markdown.
    chosen = st.selectbox(tell("q_where"), list(names), format_func=names.__getitem__, key=_WHERE)
    keep_choice(_WHERE, chosen, default)


def _is_on(loop: Loop, at: str, zone: str) -> bool:
    chain = loop.find_chain(at)
    return chain is not None and zone in {chain.spec.zone, chain.spec.co_zone}


def _ask_loop(case: Case) -> None:
    """Ask which loop of several the complaint is about, by its zone and its first rooms."""
    words = Words(build_loop(case.site), region=find_region())
    names = {loop.zone: plain(words.loop_title(loop.zone)) for loop in case.site.loops} | {"": tell("loop_unsure")}
    recall(_LOOP, tuple(names), find_about(case))
    chosen = st.radio(tell("q_loop"), list(names), format_func=names.__getitem__, key=_LOOP)
    keep_choice(_LOOP, chosen, find_about(case))


def _list_groups() -> dict[str, tuple[str, ...]]:
    """Return the complaints of each group; one that is new to the table is found by a test."""
    named = {s for options in _GROUPS.values() for s in options}
    rest = tuple(s for s in SYMPTOMS if s not in named)
    return {group: options + (rest if group == "symptom_test" else ()) for group, options in _GROUPS.items()}


def _choose(case_id: str, group: str) -> None:
    """Keep the one that was chosen, clear the other groups, and begin to reckon while the rest is answered."""
    chosen = str(st.session_state.get(group) or "")
    keep(_CHOSEN, chosen)
    for other in _GROUPS:
        if other != group:
            st.session_state[other] = None
    prepare(replace(open_store().load_case(case_id), symptom="" if chosen == _OTHER else chosen))


def _ask_several(label: str, key: str, names: Mapping[str, str], default: tuple[str, ...]) -> None:
    """Ask for any number of things, kept in the address while it is half said."""
    recall_choices(key, tuple(names), default)
    chosen = st.pills(
        tell(label), list(names), selection_mode="multi", format_func=names.__getitem__, key=key, wrap=True
    )
    keep_choices(key, tuple(chosen), default)


def _use(case_id: str, revision: int) -> None:
    symptom = next((str(s) for group in _GROUPS if (s := st.session_state.get(group))), "")
    if not symptom:
        st.session_state["problem"] = tell("symptom_needed")
        return
    case = load(case_id, revision)
    calls = find_listener(case) == "caller"  # who has nothing at hand; where a technician says nothing, nothing lacks
    contexts, tools = (tuple(st.session_state.get(key) or ()) for key in (_CONTEXTS, _TOOLS))
    can = () if calls else tuple(t for t in tools if t != _BARE) if tools else None
    about = str(st.session_state.get(_LOOP) or "") if len(case.site.loops) > 1 else None
    symptom = "" if symptom == _OTHER else symptom
    case = tell_complaint(open_store(), case, symptom, contexts, can, about)
    asked = bool(list_met_at(build_loop(case.site), symptom))
    tell_met(open_store(), case, symptom, str(st.session_state.get(_WHERE) or "") if asked else "")
    turn_to("")
