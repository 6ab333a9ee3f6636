"""The tests after a repair, item by item: done, or not done and why; the rest of them in one tap."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Literal

import streamlit as st

from diagnostics.cases import Case, ProofResult
from diagnostics.errors import CaseError
from diagnostics.reports import Words, tell_range, tell_reasons, tell_test
from diagnostics.visit import (
    FUNCTIONAL,
    HEAD_OFF,
    RECHECK,
    ProofItem,
    build_bench,
    choose_head,
    deny_cure,
    fail_test,
    find_disturbances,
    find_listener,
    find_stage,
    finish_tests,
    list_beyond,
    list_failures,
    list_proof,
    list_read_cautions,
    pass_tests,
    record_test,
    understand,
)

from .asked import ASKED, CHANGED, WHY, ask, change, leave
from .back import show_disturbed
from .draft import ask_text, find_kept, keep_choice, note_drawn, recall
from .made_safe import show_made_safe
from .reread import REREAD, ask_reading
from .seen import ask_seen
from .session import (
    find_region,
    format_moment,
    guarded,
    load,
    open_store,
    plain,
    show_alert,
    show_button,
    show_cautions,
    show_messages,
    show_note,
    tell,
    turn_to,
)
from .verdict import show_repairs, take_back

_HEAD = "head"
_MOST_NAMED = 6
_SHORT = {
    HEAD_OFF: "test_head_short",
    "reset": "test_reset_short",
    "at_rest": "test_rest_short",
    "both_sides": "test_sides_short",
    "all_lit": "test_lit_short",
    "all_report": "test_report_short",
    "station": "test_station_short",
    RECHECK: "test_recheck_short",
}
_ALONE = (FUNCTIONAL, RECHECK)  # told one by one, by whoever saw it or read it
_CAUTIONS = ("outputs", "tell_people", "ladder")


def show_proof(case: Case) -> None:
    """Show the fixed list of tests after any repair."""
    loop = build_bench(case.site).loop
    words = Words(loop, region=find_region())
    st.title(tell("proof_title"), anchor=False)
    unsafe = list_beyond(case, loop)
    if unsafe:
        show_made_safe(case, words, unsafe)
        show_denials(case)
        show_button(tell("tests_leave"), turn_to, ("closing",), "tests_end")
        return
    items = list_proof(case, loop)
    note_drawn(*(f"{REREAD}_{number}" for number in range(len(items))))
    if all(i.key != find_kept(ASKED) for i in items):
        show_messages()  # otherwise they stand in the box that is being filled in
    show_repairs(case, words)
    ask_seen(case, words)
    if find_disturbances(case, loop):  # nothing can be tested on a lifted pair
        show_alert("warning", tell("tests_after_back"))
        show_disturbed(case, words)
        show_denials(case)
        show_button(tell("tests_leave"), turn_to, ("closing",), "tests_end")
        return
    st.markdown(tell("proof_why"))
    if find_listener(case) == "caller":
        show_alert("warning", tell("caller_tests"))
    more = (c for i in items if i.recheck for c in i.recheck.measurement.cautions)
    cautions = tuple(dict.fromkeys((*_CAUTIONS, *more)))
    show_cautions(cautions, list_read_cautions(case, loop, cautions), find_listener(case))
    _show_items(case, words, items)
    _show_rest(case, words, items)
    show_denials(case)
    _show_end(case, words, items)


def _show_items(case: Case, words: Words, items: tuple[ProofItem, ...]) -> None:
    """Show what is open or not right in full; what is done, and volts that come last, are a tap away."""
    rows = list(enumerate(items))
    noted = [(n, i) for n, i in rows if i.result is not None and i.result.done and find_kept(CHANGED) != i.key]
    first = [(n, i) for n, i in rows if (n, i) not in noted and i.recheck is None]
    last = [(n, i) for n, i in rows if (n, i) not in noted and i.recheck is not None]
    if noted:
        with st.expander(f"✓ {tell('tests_noted', count=str(len(noted)))}", key="tests_noted"):
            for number, item in noted:
                _show_item(case, words, number, item)
    for number, item in first:
        _show_item(case, words, number, item)
    waits = any(i.result is None for _, i in first) and all(i.result is None for _, i in last)
    if last and waits:
        with st.expander(tell("tests_last", count=str(len(last))), key="tests_last"):
            for number, item in last:
                _show_item(case, words, number, item)
    else:
        for number, item in last:
            _show_item(case, words, number, item)


def show_denials(case: Case) -> None:
    """Show the two ways back: the complaint came back, or nobody meant to say that it is gone."""
    cured = [number for number, repair in enumerate(case.repairs) if repair.cured]
    if cured:
        place = (case.case_id, case.revision)
        with st.container(horizontal=True, gap="xsmall"):
            for key, callback, args in (("proof_not", _deny, place), ("proof_mistake", take_back, (*place, cured[-1]))):
                label = tell(key)
                st.button(label, key=key, on_click=guarded(callback, label), args=args)


def _show_item(case: Case, words: Words, number: int, item: ProofItem) -> None:
    """Show one test: what and where, why it is on the list, how it went, and what can be said of it."""
    with st.container(border=True):
        reasons = tell_reasons(item, find_region())
        told = f"**{number + 1}. {plain(tell_test(item, words, find_region()))}**"
        st.markdown(f"{told} :small[({reasons})]" if reasons else told)
        if find_kept(ASKED) == item.key:
            _ask_why(case, words, number, item)
        elif item.result is not None and find_kept(CHANGED) != item.key:
            _show_result(case, number, item, words)
        elif item.recheck is not None:
            ask_reading(case, number, item, words)
        else:
            if item.test == HEAD_OFF:
                _choose_head(case, words, item)
            _show_choice(case, words, number, item)


def _show_result(case: Case, number: int, item: ProofItem, words: Words) -> None:
    result = item.result
    if result is None:
        return
    told = f"{'✓' if result.done else '✗'} {_tell_result(item, result, words)}"
    with st.container(horizontal=True, vertical_alignment="center"):
        st.markdown(f"**{told}**")
        st.button(tell("test_change"), key=f"test_change_{number}", on_click=guarded(change), args=(item.key,))
    is_open = item.recheck is not None and item.recheck.assumed and item.reading is not None and not result.done
    if is_open and not item.is_as_before:
        args = (case.case_id, case.revision, item.key)
        show_button(tell("test_panel_other"), _note_done, args, f"test_panel_other_{number}")


def _tell_result(item: ProofItem, result: ProofResult, words: Words) -> str:
    """Return how a test went: done and when, what was read, or why not."""
    when = format_moment(result.noted_at)
    if result.failed:
        key = "test_has_failed_why" if result.why else "test_has_failed"
        return tell(key, when=when, why=plain(result.why))
    if item.recheck is None or item.reading is None:
        return tell("test_is_done", when=when) if result.done else tell("test_is_not", why=plain(result.why))
    value = plain(words.value(item.recheck.measurement, understand(words.loop, item.reading).value))
    if result.done:
        return f"{tell('test_read', value=value)}, {when}"
    assumed = "test_read_assumed" if item.recheck.assumed else "test_read_wrong"
    wrong = "test_read_same" if item.is_as_before else assumed
    return tell(wrong, value=value, range=tell_range(replace(item.recheck, assumed=False), words))


def _choose_head(case: Case, words: Words, item: ProofItem) -> None:
    """Ask at which detector the head comes off; the farthest one unless somebody says otherwise."""
    names = {d.name: words.detector(d.name) for d in words.loop.detectors}  # a list to choose from knows no Markdown
    default = item.at or choose_head(case, words.loop)
    recall(_HEAD, tuple(names), default)
    chosen = st.selectbox(tell("test_head"), list(names), key=_HEAD, format_func=names.__getitem__)
    keep_choice(_HEAD, chosen, default)


def _show_choice(case: Case, words: Words, number: int, item: ProofItem) -> None:
    told = plain(tell_test(item, words, find_region()))
    args = (case.case_id, case.revision, item.key)
    with st.container(horizontal=True):
        done = guarded(_note_done, f"{told}: {tell('test_done')}")
        st.button(tell("test_done"), key=f"test_done_{number}", width="stretch", on_click=done, args=args)
        st.button(tell("test_not"), key=f"test_not_{number}", width="stretch", on_click=guarded(ask), args=(item.key,))


def _ask_why(case: Case, words: Words, number: int, item: ProofItem) -> None:
    told = plain(tell_test(item, words, find_region()))
    show_messages()
    ask_text(tell("test_why"), WHY, tell("test_why_hint"))
    said = [i.result for i in list_proof(case, words.loop) if i.result and i.result.why and not i.result.failed]
    if said:
        last = said[-1].why
        show_button(tell("test_why_same", why=plain(last)), _fill_why, (last,), f"test_same_{number}")
    args = (case.case_id, case.revision, item.key)
    with st.container(horizontal=True):
        st.button(
            tell("test_not_keep"), key=f"test_keep_{number}", type="primary", width="stretch",
            on_click=guarded(_note_not_done, f"{told}: {tell('test_not_keep')}"), args=args,
        )  # fmt: skip
        for nth, (label, showed) in enumerate(_list_failures(words, item)):
            st.button(
                label, key=f"test_failed_{number}_{nth}", width="stretch",
                on_click=guarded(_note_failed, f"{told}: {label}"), args=(*args, showed),
            )  # fmt: skip
        st.button(
            tell("test_cancel"),
            key=f"test_cancel_{number}",
            width="stretch",
            on_click=guarded(leave),
            args=(item.key,),
        )


def _fill_why(why: str) -> None:
    st.session_state[WHY] = why


def _note_done(case_id: str, revision: int, key: str) -> None:
    _note(load(case_id, revision), key, done=True)


def _note_not_done(case_id: str, revision: int, key: str) -> None:
    why = str(st.session_state.get(WHY) or "").strip()
    if not why:
        st.session_state["problem"] = tell("test_why_needed")
        return
    _note(load(case_id, revision), key, done=False, why=why)


def _list_failures(words: Words, item: ProofItem) -> list[tuple[str, str]]:
    """Return in which ways a test can have failed: what to say of each, and the word that it showed."""
    at = item.at or _find_head("")
    showed = list_failures(words.loop, item.test, at)
    if not showed:
        return [(tell("test_failed"), "")]
    if item.test == HEAD_OFF:
        return [(tell("test_failed_head"), word) for word in showed]
    return [(tell("test_failed_as", showed=words.answer(word)), word) for word in showed]


def _note_failed(case_id: str, revision: int, key: str, showed: str) -> None:
    """Store that a test failed, and what it showed; said twice it is stored once."""
    case, why = load(case_id, revision), str(st.session_state.get(WHY) or "").strip()
    item, at = _find_item(case, key)
    fail_test(open_store(), case, ProofItem(item.test, at, result=item.result), showed=showed, why=why)
    leave(key)


def _find_item(case: Case, key: str) -> tuple[ProofItem, str]:
    """Return a test of the list, and at which detector it is made; raises CaseError for one that is not on it."""
    loop = build_bench(case.site).loop
    item = next((i for i in list_proof(case, loop) if i.key == key), None)
    if item is None:
        raise CaseError("this test is not on the list any longer", hint="look at the list below")
    return item, _find_head(choose_head(case, loop)) if item.test == HEAD_OFF else item.at


def _note(case: Case, key: str, *, done: bool, why: str = "") -> None:
    """Store how a test went; said twice it is stored once."""
    item, head = _find_item(case, key)
    at, known = head if done else item.at, item.result
    if known is None or (known.done, known.failed, known.why, known.at) != (done, False, why, at):
        record_test(open_store(), case, ProofItem(item.test, at, result=item.result), done=done, why=why)
    leave(key)


def _find_head(default: str) -> str:
    return str(st.session_state.get(_HEAD) or find_kept(_HEAD) or default)


def _show_rest(case: Case, words: Words, items: tuple[ProofItem, ...]) -> None:
    """Below the list, offer to note in one tap what is open at its end; a detector's test is told by itself."""
    some = [i for i in items if i.result is None and i.test not in _ALONE]
    if len(some) < 2:
        return
    head = _find_head(choose_head(case, words.loop))
    told = [replace(i, at=head) if i.test == HEAD_OFF else i for i in some]
    label = tell("tests_rest", count=str(len(some)), tests=_name_all(told, words))
    show_button(label, _note_rest, (case.case_id, case.revision), "tests_rest")


def _note_rest(case_id: str, revision: int) -> None:
    case = load(case_id, revision)
    pass_tests(open_store(), case, _find_head(choose_head(case, build_bench(case.site).loop)))


def _show_end(case: Case, words: Words, items: tuple[ProofItem, ...]) -> None:
    """Say at the lower edge what is still open or not tested; end the list, or leave it with tests open."""
    left = [i for i in items if i.result is None]
    missing = [i for i in items if i.result is not None and not i.result.done]
    with st.bottom:
        if left:
            show_note(tell("tests_open", tests=_name_all(left, words)))
        elif missing:
            show_note(f"⚠ {tell('tests_untested', tests=_name_all(missing, words))}")
        args = (case.case_id, case.revision)
        label = tell("tests_leave" if left else "tests_end")
        kind: Literal["primary", "secondary"] = "secondary" if left else "primary"
        st.button(label, key="tests_end", type=kind, width="stretch", on_click=guarded(_end, label), args=args)


def _name_all(items: Sequence[ProofItem], words: Words) -> str:
    """Return tests in two words each; more than a lower edge has room for are counted."""
    names = [_name(i, words) for i in items]
    more = len(names) - _MOST_NAMED
    return ", ".join([*names[:_MOST_NAMED], *([tell("and_more", count=str(more))] if more > 0 else [])])


def _name(item: ProofItem, words: Words) -> str:
    """Return a test in two words, for the lower edge."""
    if item.test == FUNCTIONAL:
        return plain(words.noun(item.at).partition(" (")[0])
    if item.test == HEAD_OFF and item.at:
        return f"{tell('test_head_short')} ({plain(words.noun(item.at).partition(' (')[0])})"
    return tell(_SHORT[item.test])


def name_untested(items: Sequence[ProofItem], words: Words) -> str:
    """Return tests in full, as lines of Markdown, with the reason where one was given."""
    lines = [f"- {plain(tell_test(i, words, find_region()))}{_tell_why(i)}" for i in items]
    return "\n".join(lines)


def _tell_why(item: ProofItem) -> str:
    result = item.result
    told = [] if result is None else [*([tell("test_failed_short")] if result.failed else []), plain(result.why)]
    return f": {', '.join(text for text in told if text)}" if any(told) else ""


def _end(case_id: str, revision: int) -> None:
    case = load(case_id, revision)
    if not all(i.result for i in list_proof(case, build_bench(case.site).loop)):
        turn_to("closing")
        return
    if find_stage(case) != "closing":  # else looked at again: the list is through already
        finish_tests(open_store(), case)
    turn_to("")


def _deny(case_id: str, revision: int) -> None:
    deny_cure(open_store(), load(case_id, revision))
    turn_to("")
