"""The fixed list of tests after a repair, item by item: what is to be tested, what was, and what was not and why."""

from dataclasses import dataclass
from typing import Final, Literal

from diagnostics.cases import Case, ProofResult
from diagnostics.wiring import Loop

Why = Literal["touched", "farthest", "kind"]
FUNCTIONAL, HEAD_OFF, RESET, STATION = "functional_test", "head_off_test", "reset", "station"
# Readings at a detector that take hold of it.
_TOUCHING: Final = ("head_off", "dark_with_head_off")


@dataclass(frozen=True, slots=True)
class ProofItem:
    """One test of the list, ``at`` a detector where it has one, with the reasons for it and its latest result.

    A head-off test may be made at any detector: it is ``at`` one as soon as its result says which.
    """

    test: str
    at: str = ""
    reasons: tuple[Why, ...] = ()
    result: ProofResult | None = None

    @property
    def key(self) -> str:
        """Return a text that names this item and no other of the list."""
        return _name_test(self.test, self.at)


def list_proof(case: Case, loop: Loop) -> tuple[ProofItem, ...]:
    """Return the list for a case after its last repair (design page, section 10, item 10).

    Functional test of every detector touched, of the farthest and of one a kind; a head-off test; reset; and that the
    supervising station receives it. Results count that were noted since the last repair that cured.
    """
    reasons: dict[str, list[Why]] = {}
    for name, why in [*_list_touched(case, loop), *_list_chosen(loop)]:
        reasons.setdefault(name, []).append(why)
    names = [d.name for d in loop.detectors if d.name in reasons]
    items = [ProofItem(FUNCTIONAL, name, tuple(dict.fromkeys(reasons[name]))) for name in names]
    items += [ProofItem(test) for test in (HEAD_OFF, RESET, STATION)]
    results = {_name_test(r.test, r.at): r for r in _list_results(case)}
    return tuple(_add_result(item, results.get(item.key)) for item in items)


def _name_test(test: str, at: str) -> str:
    return f"{test} {at}".strip() if test == FUNCTIONAL else test


def _add_result(item: ProofItem, result: ProofResult | None) -> ProofItem:
    return item if result is None else ProofItem(item.test, item.at or result.at, item.reasons, result)


def choose_head(loop: Loop) -> str:
    """Return the detector whose head comes off in the head-off test unless a person takes another.

    It is the farthest of the loop that the complaint was about: its head is supervised only if all before it is.
    """
    return loop.chains[0].last.name


def _list_results(case: Case) -> list[ProofResult]:
    """Return the results that belong to the last repair that cured, oldest first."""
    cured = [r.done_at for r in case.repairs if r.cured]
    return [r for r in case.tests if not cured or r.noted_at >= max(cured)]


def _list_touched(case: Case, loop: Loop) -> list[tuple[str, Why]]:
    names = {d.name for d in loop.detectors}
    spots = [spot for r in case.repairs for spot in r.fault.partition("@")[2].split(" + ")]
    places = [spot.removeprefix("run ").partition(".")[0] for spot in spots]
    places = [_find_last(loop, place) if place.startswith("end") else place for place in places]
    places += [r.at for r in case.readings if r.measurement in _TOUCHING]
    return [(place, "touched") for place in places if place in names]


def _list_chosen(loop: Loop) -> list[tuple[str, Why]]:
    """Return the farthest detector of each loop, and for each kind the one farthest out."""
    kinds = {d.senses: d.name for d in loop.detectors}
    farthest: list[tuple[str, Why]] = [(chain.last.name, "farthest") for chain in loop.chains]
    return [*farthest, *((name, "kind") for name in kinds.values())]


def _find_last(loop: Loop, place: str) -> str:
    return (loop.find_chain(place) or loop.chains[0]).last.name


def list_untested(case: Case, loop: Loop) -> tuple[ProofItem, ...]:
    """Return what was not tested: said so, or never noted."""
    return tuple(i for i in list_proof(case, loop) if i.result is None or not i.result.done)
