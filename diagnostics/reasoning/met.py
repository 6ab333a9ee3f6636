"""Silent defects met on the way: what a reading showed of a part that nothing watches, whatever the complaint was."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from diagnostics.wiring import Loop

from .belief import Taken, keep_latest

# Sights of a head, a branch or an end that the watching current does not go through.
UNWATCHED: Final = frozenset({
    "under_one_terminal", "wire_uncut", "link_left", "three_wires", "resistor_on_in", "end_relay_elsewhere",
})  # fmt: skip


@dataclass(frozen=True, slots=True)
class MetDefect:
    """A defect by name, the place it was met at, and the word of a look that showed it, or an empty text."""

    name: str
    at: str
    sight: str = ""


def find_met_defects(loop: Loop, taken: Sequence[Taken]) -> tuple[MetDefect, ...]:
    """Return what the latest reading of each set-up gives away, in the order taken.

    *head_not_noticed*: the panel stayed normal with a head off, on a loop that would notice that; where nothing
    supervises the supply the description itself tells. *seen_unwatched*: a look found wires that are not watched.
    """
    found = []
    for reading in keep_latest(taken):
        m, chain = reading.measurement, loop.find_chain(reading.measurement.at)
        notices = chain is not None and (chain.spec.style.is_two_wire or bool(chain.end_relay))
        if m.kind == "head_off" and reading.value == "normal" and notices:
            found.append(MetDefect("head_not_noticed", m.at))
        if m.kind == "look" and reading.value in UNWATCHED:
            found.append(MetDefect("seen_unwatched", m.at, str(reading.value)))
    return tuple(found)
