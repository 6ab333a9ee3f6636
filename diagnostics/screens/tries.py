"""Invented cases: what one is told on taking the call, and what was hidden, shown once the case is closed."""

import streamlit as st

from diagnostics.cases import Case
from diagnostics.faults import parse_faults
from diagnostics.reports import Words, read_words, tell_symptom
from diagnostics.visit import (
    SAFETY,
    Way,
    build_bench,
    count_own_way,
    find_about,
    find_hidden,
    find_model_way,
    find_stage,
    list_left,
    split_class,
)
from diagnostics.wiring import Loop

from .session import find_region, plain, show_note, tell


def show_introduction(case: Case) -> None:
    """Say that a case is for practice, and which site, loop and complaint it is about, until something is read.

    Opened again it says what it is before the same questions again.
    """
    if find_hidden(case) is None:
        return
    if find_stage(case) in SAFETY or not case.readings:
        show_note(tell("try_practice"))
    if case.readings:
        return
    loop = build_bench(case.site).loop.focus(find_about(case))
    facts = {
        "site": plain(case.site.name),
        "loop": plain(_tell_loop(loop)),
        "complaint": plain(tell_symptom(case.symptom, find_region())),
    }
    show_note(tell("try_introduction", **facts))


def _tell_loop(loop: Loop) -> str:
    """Return the loop in question: its wiring, its detectors, and where it is, if there are several."""
    chain = loop.chains[0]
    style, count = read_words(find_region()).styles[chain.spec.style], str(len(chain.detectors))
    style = style[:1].upper() + style[1:]
    where = f", {Words(loop, region=find_region()).loop_title(chain.spec.zone)}" if len(loop.chains) > 1 else ""
    return tell("try_loop", style=style, count=count) + where


def show_hidden(case: Case, words: Words) -> None:
    """Show on a closed case which fault was hidden in it, beside what was put right."""
    hidden = find_hidden(case)
    if hidden is None:
        return
    faults = parse_faults(hidden, words.loop)
    cured = [words.told_repair(r.fault) for r in case.repairs if r.cured]
    st.subheader(tell("try_hidden_title"), anchor=False)
    found = plain("; ".join(cured)) if cured else tell("try_found_none")
    ways = (("try_own_way", count_own_way(case)), ("try_model_way", find_model_way(case)))
    lines = [f"**{tell('try_hidden')}** {plain(words.faults(faults))}", f"**{tell('try_found')}** {found}"]
    lines += [f"**{tell(name)}** {tell_way(way)}" for name, way in ways]
    st.markdown("\n".join(f"- {line}" for line in lines))
    show_note(tell("try_ways_note"))


def tell_way(way: Way) -> str:
    """Return how a hidden fault was gone after, as a sentence."""
    told = tell("try_way", readings=str(way.readings), minutes=f"{way.minutes:.0f}")
    told = told if way.mended else f"{told} {tell('try_not_mended')}"
    return f"{told} {tell('try_in_vain', count=str(way.in_vain))}" if way.in_vain else told


def show_try_outcome(case: Case, loop: Loop, repair: tuple[str, str] | None) -> None:
    """Say, in an invented case, whether the complaint would be gone after a repair that is said to be done.

    ``repair`` is None where it was told in plain words: what those put right nobody can tell.
    """
    if find_hidden(case) is None:
        return
    gone = not list_left(case, loop, (repair,) if repair else ())
    show_note(tell("try_gone" if gone else "try_still_there" if repair else "try_plain_words"))


def show_try_right(case: Case, loop: Loop) -> None:
    """Say, in an invented case, whether what was just left as it was is right: nobody stands there to look."""
    last = case.repairs[-1] if case.repairs else None
    if find_hidden(case) is None or last is None or last.saw != "right" or last.cured is None:
        return
    here = split_class(last.fault)
    is_right = list_left(case, loop, (here,)) == list_left(case, loop)
    show_note(tell("try_right" if is_right else "try_not_right"))
