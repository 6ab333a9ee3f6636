"""The start: cases to go on with, a new one, an invented one to try."""

import streamlit as st

from diagnostics.cases import Case, CaseStore
from diagnostics.errors import DiagnosticsError, SourceError
from diagnostics.locate import find_shipped
from diagnostics.reports import tell_closing
from diagnostics.visit import find_hidden, find_listener, is_described, list_visits, prepare, start_visit, take_in_case
from diagnostics.wiring import read_site

from .session import (
    NEW,
    PLANT,
    TOLD,
    find_region,
    format_moment,
    go_to,
    guarded,
    open_store,
    plain,
    show_button,
    show_main_button,
    show_messages,
    tell,
    write_problem,
)

# Invented cases to try: the button's words, the site, the loop's past, the complaint, the fault that is hidden in it,
# and the zone of the loop that the complaint is about.
_DEMOS = {
    "demo_case": ("bakery", "new", "constant_trouble", "end_resistor_missing@end", ""),
    "demo_module": ("orchard", "new", "constant_trouble", "supply_on_no@reset", ""),
    "demo_loops": ("hostel", "altered", "constant_trouble", "conductor_open@det6.in+", "zone2"),
}
_AT_ONCE = 12
_SHOWN, _FIND = "cases_shown", "find_case"


def show_start(store: CaseStore) -> None:
    """Show the list of cases, and how to begin one."""
    st.title(tell("app"), anchor=False)
    st.markdown(tell("app_for"))
    show_messages()
    st.subheader(tell("recent"), anchor=False)
    _show_visits(store)
    _show_open_file()
    st.subheader(tell("demo_mark"), anchor=False)
    st.markdown(tell("demo_why"))
    for name in _DEMOS:
        show_button(tell(name), _begin_demo, (name,), f"begin_{name}")
    show_button(tell("plant"), go_to, (PLANT,), "plant")
    _show_region()
    show_main_button(f"+ {tell('new_case')}", go_to, (NEW,), "new_case")


def _show_visits(store: CaseStore) -> None:
    """Show the cases that were changed last; where there are more, a field to find one, and a button for the next."""
    shown, word = st.session_state.get(_SHOWN, _AT_ONCE), str(st.session_state.get(_FIND) or "").strip()
    visits = list_visits(store, shown + 1, word)
    if not visits:
        st.markdown(tell("found_none" if word else "no_cases"))
    for visit in visits[:shown]:
        _show_visit(visit)
    if len(visits) > shown:
        show_button(tell("more_cases"), _show_more, (), "more_cases")
    if word or len(visits) > _AT_ONCE:
        st.text_input(tell("find_case"), key=_FIND, placeholder=tell("find_case_hint"), max_chars=60, live=True)


def _show_more() -> None:
    st.session_state[_SHOWN] = st.session_state.get(_SHOWN, _AT_ONCE) + _AT_ONCE


def _show_visit(visit: Case | str) -> None:
    if isinstance(visit, str):
        st.markdown(f"{plain(visit)}: {tell('cannot_read')}")
        return
    state = tell_closing(visit.closing, find_region())[0] if visit.closing else tell("open")
    mark = {"": "▶ ", "left_impaired": "⚠ ", "waiting": "⚠ "}.get(visit.closing, "✓ ")
    name = tell("draft") if not is_described(visit) else visit.site.name
    begun = visit.acknowledged[0].at if visit.acknowledged else None
    when = f" · {tell('started', when=format_moment(begun))}" if begun else ""
    phone = f" · ☎ {tell('by_phone')}" if find_listener(visit) == "caller" else ""
    practice = f" · {tell('practice')}" if find_hidden(visit) is not None else ""
    label = f"{mark}**{state}**{phone}{practice} · {plain(name)}{when} · {visit.case_id}"
    show_button(label, go_to, (visit.case_id,), f"open {visit.case_id}")


def _show_open_file() -> None:
    with st.expander(tell("open_file")):
        st.markdown(tell("open_file_why"))
        st.file_uploader(tell("open_file_which"), type=["yaml", "yml"], key="case_file")
        show_button(tell("open_file_use"), _open_file, (), "open_file")


def _open_file() -> None:
    given = st.session_state.get("case_file")
    if given is None:
        st.session_state["problem"] = tell("upload_none")
        return
    name = given.name[:80]
    try:
        taken = take_in_case(open_store(), given.getvalue(), name)
    except SourceError as error:
        st.session_state["problem"] = f"**{tell('findings')}**\n\n{write_problem(error)}"
        return
    except DiagnosticsError as error:
        st.session_state["problem"] = f"**{tell('findings')}**\n\n{plain(name)}: {write_problem(error)}"
        return
    prepare(taken.case)
    go_to(taken.case.case_id)
    said = "taken_beside" if taken.beside else "taken_older" if taken.is_older else "taken_in"
    st.session_state[TOLD] = tell(said, file=plain(name), other=taken.beside, count=str(len(taken.case.readings)))


def _begin_demo(name: str) -> None:
    place, past, symptom, hidden, about = _DEMOS[name]
    path = find_shipped("cases") / "sites" / f"{place}.yaml"
    demo = Case(read_site(path), path.read_text("utf-8"), contexts=(past,), symptom=symptom)
    case = start_visit(open_store(), demo, hidden, about)
    prepare(case)
    go_to(case.case_id)


def _show_region() -> None:
    st.segmented_control(
        tell("region"), ("north_america", "europe"), default=find_region(), format_func=tell, key="region",
        required=True, width="stretch", on_change=guarded(_choose_region),
    )  # fmt: skip


def _choose_region() -> None:
    st.query_params["region"] = st.session_state["region"]
