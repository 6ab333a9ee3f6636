"""The loop: a few questions, a shipped example, or a site file."""

import re
import uuid
from collections.abc import Callable, Mapping

import streamlit as st

from diagnostics.cases import Case, write_site
from diagnostics.errors import DiagnosticsError, PhysicsError, QuantityError, SiteError, SourceError, join_hint
from diagnostics.locate import find_shipped
from diagnostics.reports import (
    list_learn_cautions,
    localize,
    read_learn_words,
    read_words,
    render_style,
    tell_crooked,
    tell_learnt,
    tell_panel,
)
from diagnostics.units import format_length, format_quantity, parse_gauge, parse_quantity, parse_resistor
from diagnostics.visit import (
    GENERIC_PANELS,
    LearntZone,
    describe_site,
    find_listener,
    learn_zone,
    name_rooms,
    parse_rooms,
    prepare,
)
from diagnostics.wiring import QuickDescription, Style, build_quick_site, read_site
from diagnostics.wiring.describe import NOT_SURE, SYSTEMS, find_unusual_answers, find_wrong_answers

from .draft import ask_lines, ask_text, find_kept, keep, keep_choice, note_drawn, recall
from .session import (
    bring_into_view,
    find_region,
    find_view,
    is_dark,
    load,
    open_store,
    plain,
    show_alert,
    show_button,
    show_main_button,
    show_messages,
    show_note,
    tell,
    turn_to,
    write_problem,
)

_PICTURE_PX = 460
_ASKED_FOR, _LOOK_AT = "describe_asked_for", "describe_look_at"
# The fields that are typed into, by the answer that each is, in their order on the screen.
_FIELDS = {
    "detectors": "q_detectors", "panel_resistor": "q_panel_resistor", "end_resistor": "q_resistor", "cable": "q_cable",
    "run": "q_run", "name": "q_name",
}  # fmt: skip
_PANEL = ("q_panel_open", "q_panel_r1", "q_panel_v1", "q_panel_r2", "q_panel_v2")
_ORDER = ("q_detectors", "q_panel_resistor", "q_resistor", "q_cable", "q_run", "q_panel_open", "q_rooms", "q_name")
_WAYS = ("describe_quick", "describe_shipped", "describe_file")


def show_describe(case: Case) -> None:
    """Ask what is installed."""
    note_drawn(*(name for name in st.query_params if name.startswith("q_")))  # one way of three is shown at a time
    st.title(tell("describe_title"), anchor=False)
    recall("way", _WAYS, _WAYS[0])
    way = st.segmented_control(tell("describe_how"), _WAYS, format_func=tell, required=True, width="stretch", key="way")
    keep_choice("way", way or "", _WAYS[0])
    place = (case.case_id, case.revision)
    if way == "describe_shipped":
        _show_examples(place)
    elif way == "describe_file":
        _show_upload(place)
    else:
        _show_questions(place, by_phone=find_listener(case) == "caller")
    show_messages()
    if find_view() == "describe":
        show_button(tell("paper_open"), turn_to, ("paper",), "paper_open")
        show_button(tell("back"), turn_to, ("",), "describe_back")


_BARE = re.compile(r"[\d.,]+")  # a number that no unit goes with
_PROFILES = dict(zip(("q_system_24", "q_system_12"), GENERIC_PANELS, strict=True))
_RESETS = {
    "not_sure": NOT_SURE,
    "reset_relay": "relay",
    "reset_resettable": "resettable_output",
    "reset_minus": "minus_switched",
    "reset_separate": "separate_supply",
    "reset_always_on": "always_on",
}


def _show_questions(place: tuple[str, int], *, by_phone: bool) -> None:
    style = _ask_style(by_phone=by_phone)
    if by_phone:
        _forget_panel()
    wrong = _find_wrong()
    _ask("q_detectors", "q_detectors_hint", wrong)
    show_note(tell("q_detectors_unsure"))
    if by_phone:
        _ask_rooms(wrong, by_phone=True)
    _choose("q_order_known", ("order_known", "order_unknown"), "order_unknown" if by_phone else "order_known")
    show_note(tell("q_order_unknown" if _read("q_order_known") == "order_unknown" else "q_order"))
    show_note(tell("q_unsure"))
    if style.is_module:
        _ask("q_panel_resistor", "q_resistor_hint", wrong, lambda t: format_quantity(parse_resistor(t), "ohm"))
    _ask("q_resistor", "q_resistor_hint", wrong, lambda t: format_quantity(parse_resistor(t), "ohm"))
    _ask("q_cable", "q_cable_hint", wrong, _tell_gauge)
    _ask("q_run", "q_run_hint", wrong, lambda t: format_length(parse_quantity(t, "m")))
    _show_panel(wrong, by_phone=by_phone)
    if style.has_supply:
        recall("q_reset", tuple(_RESETS), "not_sure")
        reset = st.radio(tell("q_reset"), list(_RESETS), format_func=tell, key="q_reset")
        keep_choice("q_reset", reset, "not_sure")
    if style.has_power_pair:
        _choose("q_end_relay", ("yes", "no", "not_sure"))
    if not by_phone:
        _ask_rooms(wrong, by_phone=False)
    _ask("q_name", "q_name_default", wrong)
    show_main_button(tell("describe_use"), _use_answers, place, "describe_use")
    if look_at := st.session_state.pop(_LOOK_AT, ""):
        bring_into_view(f"ask_{look_at}", uuid.uuid4().hex)


def _ask_rooms(wrong: Mapping[str, str], *, by_phone: bool) -> None:
    """Ask in which rooms the detectors are: a caller knows nothing else of them, so it stands open on the phone."""
    if by_phone:
        _ask_room_lines("q_rooms_caller", wrong)
        show_note(tell("q_rooms_caller_why"))
        return
    with st.expander(tell("q_rooms_open"), expanded=bool(find_kept("q_rooms"))):
        _ask_room_lines("q_rooms", wrong)


def _ask_room_lines(label: str, wrong: Mapping[str, str]) -> None:
    with st.container(key="ask_q_rooms"):
        ask_lines(tell(label), "q_rooms", tell("q_rooms_hint"))
        if message := wrong.get("q_rooms"):
            _show_wrong(message)


def _ask_style(*, by_phone: bool) -> Style:
    words = read_words(find_region())
    names = {str(s): words.styles[s][:1].upper() + words.styles[s][1:] for s in Style}
    recall("q_style", tuple(names), str(Style.TWO_WIRE_ZONE))
    style = Style(st.radio(tell("q_style"), list(names), format_func=names.__getitem__, key="q_style"))
    keep_choice("q_style", style, Style.TWO_WIRE_ZONE)
    with st.container(width=_PICTURE_PX):
        st.image(render_style(style, dark=is_dark()), width="stretch", alt=words.style_words[style])
    show_note(words.style_words[style])
    with st.expander(tell("q_style_open")):
        st.markdown(tell("q_style_unsure_caller" if by_phone else "q_style_unsure"))
    return style


def _show_panel(wrong: Mapping[str, str], *, by_phone: bool) -> None:
    """Say what is assumed of the panel, and let whoever stands at it read its own values: a caller lifts nothing."""
    learnt = None if "q_panel_open" in wrong else _find_learnt()
    _choose("q_system", (*_PROFILES, "not_sure"))
    if _read("q_system") == "not_sure":
        show_note(tell("q_system_caller" if by_phone else "q_system_where"))
    show_note(
        tell("panel_learnt", system=_find_system()) if learnt and learnt.part else tell_panel(profile=_find_panel())
    )
    if by_phone:
        return
    with st.expander(tell("panel_learn"), expanded=bool(any(_read_learnt()))):
        for title, text in list_learn_cautions(find_region()):
            st.markdown(f"⚠ **{title.rstrip('.?')}.** {text}")
        st.markdown(read_learn_words().how)
        _ask("q_panel_open", "type_volts", wrong)
        for key in ("q_panel_r1", "q_panel_v1", "q_panel_r2", "q_panel_v2"):
            _ask(key, "q_resistor_hint" if "_r" in key else "type_volts", {})
        for line in tell_learnt(learnt) if learnt else ():
            show_note(plain(line))


def _forget_panel() -> None:
    """Drop what an address has kept of a panel: it is learnt by who stands at it, not by a caller."""
    for key in _PANEL:
        st.session_state.pop(key, None)
        keep(key, "")


def _read_learnt() -> tuple[str, ...]:
    """Return what is typed of the panel; before its fields are drawn, what the address has kept of them."""
    return tuple(_read(key) if key in st.session_state else find_kept(key) for key in _PANEL)


def _find_learnt() -> LearntZone | None:
    """Return what the panel is by what is typed of it; None while nothing is. Raises as ``learn_zone``."""
    volts, *known = _read_learnt()
    pairs = list(zip(known[::2], known[1::2], strict=True))
    return learn_zone(volts, pairs, _PROFILES.get(_read("q_system"), "")) if volts or any(known) else None


def _find_panel() -> str:
    """Return the profile of the panel: as it was said, else as its zone was learnt, else that of 24 V."""
    said = _PROFILES.get(_read("q_system"))
    try:
        learnt = _find_learnt()
    except (QuantityError, PhysicsError):
        learnt = None
    return said or (learnt.part.profile if learnt and learnt.part else GENERIC_PANELS[0])


def _find_system() -> str:
    return SYSTEMS[GENERIC_PANELS.index(_find_panel())]


def _tell_gauge(text: str) -> str:
    """Return a wire size as it is written, and an AWG as its area too."""
    gauge = parse_gauge(text)
    return gauge.name if gauge.name.endswith("mm²") else f"{gauge.name}, {gauge.area_mm2:.3g} mm²"


def _ask(key: str, hint: str, wrong: Mapping[str, str], understand: Callable[[str], str] | None = None) -> None:
    """Ask for one thing, and say at once, at its own field, what was understood or what is wrong with it."""
    with st.container(key=f"ask_{key}"):
        text = ask_text(tell(key), key, tell(hint), 120)
        if message := wrong.get(key):
            _show_wrong(message)
        elif text and understand is not None and text.lower() != NOT_SURE:
            show_note(tell("understood", value=plain(understand(text))))
            if key in _list_unusual():
                show_alert("warning", tell("unusual"))


def _list_unusual() -> set[str]:
    return {_FIELDS[name] for name in find_unusual_answers(_build_answers())}


def _show_wrong(message: str) -> None:
    """Show what is wrong at the field itself: a doubt while it is typed, a refusal once the loop was to be used."""
    text = localize(f"{message[:1].upper()}{message[1:]}.", find_region())
    show_alert("error" if st.session_state.get(_ASKED_FOR) else "warning", plain(text))


def _find_wrong() -> dict[str, str]:
    """Return what is wrong with what is typed, by the key of its field; that nothing is said of what is needed too."""
    answers = _build_answers()
    wrong = {_FIELDS[name]: message for name, message in find_wrong_answers(answers).items()}
    run = _read("q_run")
    if find_region() == "north_america" and _BARE.fullmatch(run):  # as likely feet as metres
        wrong["q_run"] = tell("q_run_unit", length=run)
    if st.session_state.get(_ASKED_FOR) and not _read("q_detectors"):
        wrong["q_detectors"] = tell("detectors_needed").rstrip(".")
    if "q_detectors" not in wrong and (rooms := parse_rooms(_read("q_rooms"))):
        try:
            name_rooms(build_quick_site(QuickDescription(answers.style, answers.detectors or "128"))[0], rooms)
        except SiteError as error:
            wrong["q_rooms"] = join_hint(error.message, error.hint)
    try:
        if (learnt := _find_learnt()) and learnt.part is None:
            wrong["q_panel_open"] = tell_crooked(learnt.source)
    except (QuantityError, PhysicsError) as error:
        wrong["q_panel_open"] = join_hint(error.message, error.hint)
    return wrong


def _choose(key: str, options: tuple[str, ...], usual: str = "not_sure") -> None:
    recall(key, options, usual)
    chosen = st.segmented_control(tell(key), options, format_func=tell, required=True, width="stretch", key=key)
    keep_choice(key, chosen or "", usual)


def _read(key: str) -> str:
    return str(st.session_state.get(key) or "").strip()


def _build_answers() -> QuickDescription:
    end_relay = _read("q_end_relay")
    return QuickDescription(
        style=_read("q_style") or find_kept("q_style") or str(Style.TWO_WIRE_ZONE),
        detectors=_read("q_detectors"),
        end_resistor=_read("q_resistor") or NOT_SURE,
        cable=_read("q_cable") or NOT_SURE,
        run=_read("q_run") or NOT_SURE,
        reset=_RESETS.get(_read("q_reset"), NOT_SURE),
        end_relay=end_relay if end_relay in {"yes", "no"} else NOT_SURE,
        panel_resistor=_read("q_panel_resistor") or NOT_SURE,
        order="unknown" if _read("q_order_known") == "order_unknown" else "known",
        name=_read("q_name") or tell("q_name_default"),
        system=_find_system(),
    )


def _use_answers(case_id: str, revision: int) -> None:
    st.session_state[_ASKED_FOR] = True
    wrong = _find_wrong()
    if wrong:  # said at the fields themselves
        st.session_state[_LOOK_AT] = next(key for key in _ORDER if key in wrong)
        return
    try:
        site, notes = build_quick_site(_build_answers())
        site = name_rooms(site, parse_rooms(_read("q_rooms")))
    except SourceError as error:  # what no field alone is to blame for
        st.session_state["problem"] = "\n\n".join(plain(f.message) for f in error.findings)
        return
    st.session_state.pop(_ASKED_FOR, None)
    learnt = _find_learnt()
    site = site.model_copy(update={"note": "\n".join(notes), **({"panel": learnt.part} if learnt else {})})
    _store(case_id, revision, write_site(site))


def _store(case_id: str, revision: int, site_text: str) -> None:
    prepare(describe_site(open_store(), load(case_id, revision), site_text))
    turn_to("")


def _show_examples(place: tuple[str, int]) -> None:
    folder = find_shipped("cases") / "sites"
    names = {path.stem: read_site(path).name for path in sorted(folder.glob("*.yaml"))}
    first = next(iter(names))
    recall("example", tuple(names), first)
    chosen = st.selectbox(tell("choose_example"), list(names), format_func=names.__getitem__, key="example")
    keep_choice("example", chosen or first, first)
    show_main_button(tell("describe_use"), _use_example, place, "describe_use")


def _use_example(case_id: str, revision: int) -> None:
    folder = find_shipped("cases") / "sites"
    chosen = next(path for path in sorted(folder.glob("*.yaml")) if path.stem == _read("example"))
    _store(case_id, revision, chosen.read_text("utf-8"))


def _show_upload(place: tuple[str, int]) -> None:
    st.file_uploader(tell("upload"), type=["yaml", "yml"], key="site_file")
    show_main_button(tell("describe_use"), _use_file, place, "describe_use")


def _use_file(case_id: str, revision: int) -> None:
    given = st.session_state.get("site_file")
    if given is None:
        st.session_state["problem"] = tell("upload_none")
        return
    text = given.getvalue().decode("utf-8-sig", "replace")
    try:
        prepare(describe_site(open_store(), load(case_id, revision), text, given.name[:80]))
    except SourceError as error:
        st.session_state["problem"] = f"**{tell('findings')}**\n\n{write_problem(error)}"
    except DiagnosticsError as error:
        st.session_state["problem"] = f"**{tell('findings')}**\n\n{plain(given.name[:80])}: {write_problem(error)}"
    else:
        turn_to("")
