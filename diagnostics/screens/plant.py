"""A fault hidden by a trainer: in a loop described here or in an invented one; what is complained of, and its past."""

from collections.abc import Mapping

import streamlit as st

from diagnostics.cases import Case, CaseStore
from diagnostics.errors import DiagnosticsError
from diagnostics.faults import CONTEXTS, Fault
from diagnostics.locate import find_shipped
from diagnostics.reports import Words, read_words, tell_symptom
from diagnostics.units import format_quantity, format_short
from diagnostics.visit import (
    build_bench,
    find_hidden,
    find_usual,
    is_described,
    is_example,
    list_complaints,
    list_plantable,
    list_visits,
    parse_planted,
    plant_fault,
    prepare,
    rehearse_model,
)
from diagnostics.wiring import read_site

from .draft import ask_text, keep_choice, recall, recall_planted
from .session import (
    find_region,
    go_to,
    hold_units,
    open_store,
    plain,
    show_alert,
    show_main_button,
    show_messages,
    show_note,
    tell,
    write_problem,
)

_LOOP, _KIND, _PLACE, _OHMS, _SYMPTOM, _PAST = (
    "plant_loop", "plant_kind", "plant_place", "plant_ohms", "plant_symptom", "plant_past"
)  # fmt: skip
_OWN, _EXAMPLE = "own ", "example "  # begin the name of a loop: of a case in the store, or of a shipped site
_FIRST_LOOP, _FIRST_KIND = "bakery", "end_resistor_wrong"


def show_plant(store: CaseStore) -> None:
    """Ask for the loop, the fault, the complaint and the past; say how the model would go, and hide it."""
    st.title(tell("plant_title"), anchor=False)
    st.markdown(tell("plant_for"))
    show_messages()
    recall_planted()
    try:
        chosen = _ask_all(store)
    except DiagnosticsError as error:
        show_alert("error", write_problem(error))
        return
    if chosen is None:
        return
    case, fault = chosen
    _tell_model(case, fault)
    show_main_button(tell("plant_use"), _plant, (case, fault.text), "plant_use")


def _ask_all(store: CaseStore) -> tuple[Case, Fault] | None:
    """Return a case with the loop and what is told of it, and the fault; None where nobody would complain of it."""
    loops = _list_loops(store)
    name = _choose(_LOOP, {key: title for key, (title, _) in loops.items()}, f"{_EXAMPLE}{_FIRST_LOOP}")
    site = loops[name][1]
    loop = build_bench(site.site).loop
    words = Words(loop, region=find_region())
    kinds = list_plantable(loop)
    names = {k: hold_units(words.kind(k)) for k in kinds}
    kind = _choose(_KIND, dict(sorted(names.items(), key=lambda each: each[1])), _FIRST_KIND)
    places = {fault.place: hold_units(words.fault_place(fault)) for fault in kinds[kind]}
    place = _choose(_PLACE, places, next(iter(places))) if len(places) > 1 else next(iter(places))
    usual = find_usual(site.site, next(fault for fault in kinds[kind] if fault.place == place))
    fault = usual
    if usual.value_ohm is not None:
        hint = tell("plant_ohms_hint", usual=format_quantity(usual.value_ohm, "ohm", 2))
        typed = ask_text(tell(_OHMS), _OHMS, hint, 60)
        fault = parse_planted(kind, place, typed or format_short(usual.value_ohm), loop)
    show_note(tell("plant_preview", fault=plain(words.faults((fault,)))))
    complaints = list_complaints(site.site, fault.text)
    if not complaints:
        show_alert("warning", tell("plant_silent"))
        return None
    symptom = _choose(_SYMPTOM, {s: tell_symptom(s, find_region()) for s in complaints}, complaints[0], radio=True)
    contexts = read_words(find_region()).contexts
    past = _choose(_PAST, {str(c): contexts[c] for c in CONTEXTS}, CONTEXTS[0], radio=True)
    return Case(site.site, site.site_text, contexts=(past,), symptom=symptom), fault


def _choose(key: str, names: Mapping[str, str], default: str, *, radio: bool = False) -> str:
    """Return which of several is chosen; it stands in the address, and what is no choice any more is the default.

    A list to choose from shows its names as they are, without Markdown.
    """
    default = default if default in names else next(iter(names))
    recall(key, tuple(names), default)
    if st.session_state[key] not in names:
        st.session_state[key] = default
    if radio:
        chosen = st.radio(tell(key), list(names), format_func=names.__getitem__, key=key)
    else:
        chosen = st.selectbox(tell(key), list(names), format_func=names.__getitem__, key=key)
    keep_choice(key, chosen or default, default)
    return chosen or default


def _list_loops(store: CaseStore) -> dict[str, tuple[str, Case]]:
    """Return the loops that a fault can be hidden in, by key: a title, and a case with the site; own ones first."""
    found: dict[str, tuple[str, Case]] = {}
    for visit in list_visits(store):
        if isinstance(visit, str) or not is_described(visit) or find_hidden(visit) is not None:
            continue
        if is_example(visit.site) or visit.site in [known.site for _, known in found.values()]:
            continue
        title = tell("plant_own", site=visit.site.name)
        if title in [known for known, _ in found.values()]:  # a place that nobody has named is called like any other
            title = f"{title} · {visit.case_id}"
        found[f"{_OWN}{visit.case_id}"] = (title, Case(visit.site, visit.site_text))
    for path in sorted((find_shipped("cases") / "sites").glob("*.yaml")):
        site = read_site(path)
        found[f"{_EXAMPLE}{path.stem}"] = (site.name, Case(site, path.read_text("utf-8")))
    return found


def _tell_model(case: Case, fault: Fault) -> None:
    """Say how the model would go after it, told the complaint alone."""
    way = rehearse_model(case, fault.text)
    facts = {"readings": str(way.readings), "minutes": f"{way.minutes:.0f}"}
    told = tell("plant_model" if way.mended else "plant_model_not", **facts)
    show_note(f"{told} {tell('try_in_vain', count=str(way.in_vain))}" if way.in_vain else told)


def _plant(case: Case, fault_text: str) -> None:
    """Store the case with its hidden fault, and open it; a step back shows what was chosen, as the screen says."""
    planted = plant_fault(open_store(), case, fault_text)
    prepare(planted)
    go_to(planted.case_id)
