"""What the address keeps beside the case, so that a reload loses nothing: what is asked, what is typed, what is listed.

Ids, keys and unfinished text only; each is looked up and checked before it is used.
"""

from collections.abc import Mapping, Sequence

import streamlit as st

from diagnostics.readings import LISTED, Measurement, list_tokens
from diagnostics.wiring import Loop

from .packed import pack

ASKED, CORRECTING, VIEW, DRAFT, _LIST = "asked", "correct", "view", "draft", "list"
DONE = "work_done"  # the repair that this person says is made
_DRAWN, _FORM = "drawn", "form"  # the fields that the screen in hand has drawn, and the form of an answer
PACKED = frozenset({"note"})  # the field of several lines that is packed into the address
_ALWAYS = frozenset({"case", "region"})
PLANTED = "plant_"  # how the fields of a fault to be hidden begin
_CHOSEN = "planted"  # what a trainer had chosen, while this page shows another screen
WHO = "who"  # who is asked: said at the first question of a visit, and kept past a stop there
LEAVING = frozenset({"told", "closed_by", "note", "closing"})  # how a case is left: kept until it is closed
_AT_WORK = frozenset({ASKED, CORRECTING, VIEW, DRAFT, DONE, WHO, _LIST}) | LEAVING
_LONGEST, _LONGEST_LINES = 200, 1500
_SEPARATOR = "~"


def keep(name: str, text: str) -> None:
    """Put a text into the address, or take it out when it is empty."""
    if not text:
        st.query_params.pop(name, None)
    elif st.query_params.get(name) != text:
        st.query_params[name] = text


def find_kept(name: str) -> str:
    """Return what the address says, or an empty text."""
    return str(st.query_params.get(name, ""))


def forget(*, at_work: bool = False, **said: str) -> None:
    """Take out what was typed into the fields of a screen, and put in what is ``said``.

    ``at_work`` keeps what belongs to the step in hand.
    """
    kept = _ALWAYS | _AT_WORK if at_work else _ALWAYS
    if chosen := _find_planted():
        st.session_state[_CHOSEN] = chosen
    _rewrite({name: text for name, text in st.query_params.items() if name in kept} | said)


def _find_planted() -> dict[str, str]:
    return {name: text for name, text in st.query_params.items() if name.startswith(PLANTED)}


def recall_planted() -> None:
    """Put into the address what a trainer had chosen when the screen was left, unless it says something of its own."""
    chosen = st.session_state.pop(_CHOSEN, None)
    if chosen and not _find_planted():
        _rewrite(st.query_params.to_dict() | chosen)


def drop_planted() -> None:
    """Take out of the address what somebody chose to hide: a case says nothing of it."""
    _rewrite({name: text for name, text in st.query_params.items() if not name.startswith(PLANTED)})


def drop_leaving() -> None:
    """Take out of the address how the case is left: it is closed, and the record says so."""
    _rewrite({name: text for name, text in st.query_params.items() if name not in LEAVING})


def _rewrite(address: Mapping[str, str]) -> None:
    """Change the address in one act: the browser keeps a step of its Back for each, and half a change is no step."""
    told = {name: text for name, text in address.items() if text}
    if told != st.query_params.to_dict():
        st.query_params.from_dict(told)


def begin_drawing() -> None:
    """Begin a screen: no field of it is drawn yet."""
    st.session_state[_DRAWN] = set[str]()
    st.session_state.pop(_FORM, None)


def gather() -> None:
    """Put into the address what stands in the fields that were drawn last: they may not be drawn again.

    What is typed comes with the next run, and by then the case may have moved on to another screen.
    """
    for name in st.session_state.get(_DRAWN, ()):
        text = st.session_state.get(name)
        if isinstance(text, str):
            keep(name, pack(text) if name in PACKED else text)
    key, field = st.session_state.get(_FORM, ("", ""))
    given = st.session_state.get(field) if field else None
    if given:
        text = ", ".join(given) if isinstance(given, list) else str(given).strip()
        _write_draft(key, text, absent=bool(st.session_state.get(f"absent {field}")))


def note_drawn(*names: str) -> None:
    """Note that what the address keeps under these names stands on this screen, in fields of the same names."""
    st.session_state.setdefault(_DRAWN, set[str]()).update(names)


def was_drawn(name: str) -> bool:
    """Return whether what the address keeps under a name stands on this screen."""
    return name in st.session_state.get(_DRAWN, ())


def list_undrawn() -> list[str]:
    """Return the names of what the address keeps and this screen does not show."""
    return [name for name in st.query_params if not was_drawn(name)]


def recall(key: str, options: Sequence[str] = (), default: str = "") -> None:
    """Fill a field that is new to this page with what the address says; a choice that is none counts as ``default``.

    Streamlit's own binding would not let go of the address when the screen is done.
    """
    note_drawn(key)
    if key not in st.session_state:
        kept = find_kept(key)
        st.session_state[key] = kept if kept and (not options or kept in options) else default


def keep_choice(key: str, chosen: str, default: str) -> None:
    """Keep what was chosen in the address; the default needs no room there."""
    keep(key, "" if chosen == default else chosen)


def recall_choices(key: str, options: Sequence[str], default: Sequence[str]) -> None:
    """Fill a field of several choices that is new to this page from the address; strange words are dropped."""
    if key not in st.session_state:
        kept = find_kept(key)
        st.session_state[key] = [o for o in options if o in kept.split(",")] if kept else list(default)


def keep_choices(key: str, chosen: Sequence[str], default: Sequence[str]) -> None:
    """Keep what was chosen in the address, also that nothing was; the default needs no room there."""
    keep(key, "" if set(chosen) == set(default) else ",".join(chosen) or _SEPARATOR)


def ask_text(label: str, key: str, hint: str, max_chars: int = _LONGEST) -> str:
    """Ask for a text that is there again after a reload."""
    recall(key)
    text = st.text_input(label, placeholder=hint, key=key, max_chars=max_chars, live=True) or ""
    keep(key, text)
    return text.strip()


def ask_lines(label: str, key: str, hint: str) -> str:
    """Ask for several lines that are there again after a reload."""
    recall(key)
    text = st.text_area(label, placeholder=hint, key=key, max_chars=_LONGEST_LINES, height=140) or ""
    keep(key, text)
    return text.strip()


def leave_form() -> None:
    """Take out what belongs to the form in hand; the list of what is still to be typed stays."""
    for name in (ASKED, CORRECTING, DRAFT):
        keep(name, "")


def find_form() -> str:
    """Return a text that is another one when another form of one's own choice is shown."""
    return f"{find_kept(ASKED)} {find_kept(CORRECTING)}"


def keep_draft(key: str, field: str, text: str, *, absent: bool) -> None:
    """Keep an answer that is not recorded yet, for the measurement of this key; ``field`` is where it is typed."""
    note_drawn(DRAFT)
    st.session_state[_FORM] = (key, field)
    _write_draft(key, text, absent=absent)


def _write_draft(key: str, text: str, *, absent: bool) -> None:
    keep(DRAFT, _SEPARATOR.join((key, "absent" if absent else "", text[:_LONGEST])) if text else "")


def find_draft_owner() -> str:
    """Return the key of the measurement that an unfinished answer is for, or an empty text."""
    owner, _, rest = find_kept(DRAFT).partition(_SEPARATOR)
    return owner if rest else ""


def find_draft(key: str) -> tuple[str, bool]:
    """Return the unfinished answer to this measurement, and whether the complaint was absent."""
    owner, _, rest = find_kept(DRAFT).partition(_SEPARATOR)
    condition, _, text = rest.partition(_SEPARATOR)
    return (text, condition == "absent") if owner == key else ("", False)


def restore_draft(loop: Loop, m: Measurement, field: str) -> None:
    """Fill a form that is new to this page with what was typed before; words that are no answers are dropped."""
    if field in st.session_state:
        return
    text, absent = find_draft(m.key)
    if not text:
        return
    tokens = list_tokens(m, loop)
    given = [t for t in text.split(", ") if t in tokens]
    if m.unit:
        st.session_state[field] = text
    elif given:
        st.session_state[field] = given if is_set(m) else given[0]
    st.session_state[f"absent {field}"] = absent


def is_set(m: Measurement) -> bool:
    """Return whether the answer is any number of detectors."""
    return m.kind in LISTED


def keep_list(keys: Sequence[str]) -> None:
    """Keep what was read on the same ladder and is still to be typed."""
    keep(_LIST, ";".join(keys))


def find_list() -> list[str]:
    """Return the keys of what is still to be typed, in their order."""
    return [key for key in find_kept(_LIST).split(";") if key]
