"""The fixed list of tests after a repair, item by item: what is to be tested, what was, and what was not and why."""

import re
from dataclasses import dataclass, replace
from typing import Final, Literal

from diagnostics.cases import Case, ProofResult, Reading, Repair
from diagnostics.readings import find_neighbour
from diagnostics.reasoning import Taken, is_same
from diagnostics.wiring import Chain, Loop, build_part

from .assess import understand
from .marks import find_about, is_monitored, is_tested, was_told
from .recheck import Recheck, find_read_before, find_reread, list_case_rechecks
from .unprotected import SILENT, was_dark

Why = Literal["touched", "met", "farthest", "kind"]
FUNCTIONAL, HEAD_OFF, RESET, AT_REST = "functional_test", "head_off_test", "reset", "at_rest"
STATION, RECHECK, ALL_LIT, BOTH_SIDES = "station", "recheck", "all_lit", "both_sides"
ALL_REPORT: Final = "all_report"
_RIGHT: Final = "reports_and_clears"
# Readings at a detector for which its head or base is taken in hand; metering at its terminals is another.
_TOUCHING: Final = frozenset({"head_off", "dark_with_head_off", "earth_opened", "look"})
SOUGHT: Final = "detector"  # the detector of a repair that nobody knew the place of before it showed itself
_BY_NUMBER: Final = re.compile(r"\bdet(?:ector)?s?\.?\s*(\d{1,3})\b", re.IGNORECASE)
_SWAPS: Final = "swap_zone_input"  # a board that may carry other zones too
_LEAST_ROOM: Final = 3  # letters that a room must have to be looked for in what somebody typed


@dataclass(frozen=True, slots=True)
class ProofItem:
    """One test of the list, ``at`` a detector where it has one, with the reasons for it and its latest result.

    A head-off test may be made at any detector: it is ``at`` one as soon as its result says which. Volts to measure
    again are a ``recheck``, ``at`` the key of the measurement; their result is the ``reading`` taken since the repair,
    ``is_as_before`` where it is as wrong as it was.
    """

    test: str
    at: str = ""
    reasons: tuple[Why, ...] = ()
    result: ProofResult | None = None
    recheck: Recheck | None = None
    reading: Reading | None = None
    is_as_before: bool = False

    @property
    def key(self) -> str:
        """Return a text that names this item and no other of the list."""
        return _name_test(self.test, self.at)


def list_proof(case: Case, loop: Loop) -> tuple[ProofItem, ...]:
    """Return the list for a case after its last repair (design page, section 10, item 10).

    Functional test of every detector touched, of each at which a complaint was met, of the farthest and of one a
    kind; where several did not report, that each of them does; reset; a head-off test, since a zone that is still
    latched shows no trouble; on a class A loop that it still works past a single open, which is what it is for;
    that the panel is normal once all is back, and no lamp dark where one was; that the supervising station receives
    it, where there is one; last, at rest again, the volts that the repair asks to measure again.
    Results count that were noted since the last repair that cured.
    """
    reasons: dict[str, list[Why]] = {}
    for name, why in [*_list_touched(case, loop), *_list_met_at(case, loop), *_list_chosen(case, loop)]:
        reasons.setdefault(name, []).append(why)
    names = [name for name in (*(d.name for d in loop.detectors), SOUGHT) if name in reasons]
    items = [ProofItem(FUNCTIONAL, name, tuple(dict.fromkeys(reasons[name]))) for name in names]
    items += [ProofItem(RESET), ProofItem(HEAD_OFF)]
    items += [ProofItem(BOTH_SIDES)] if any(chain.back for chain in _list_in_question(case, loop)) else []
    items += [ProofItem(AT_REST, "panel")]
    of_several = SILENT.get(case.symptom or "") in {"some", "all"}  # that one of them reports says nothing of the rest
    items += [ProofItem(ALL_REPORT)] if of_several else []
    lamps = any(not d.is_contact for d in loop.detectors) and was_dark(case, loop)
    items += [*([ProofItem(ALL_LIT)] if lamps else []), *([ProofItem(STATION)] if is_monitored(case) else [])]
    results = {_name_test(r.test, r.at): r for r in _list_results(case)}
    told = tuple(_add_result(item, results.get(item.key)) for item in items)
    return (*told, *(_build_recheck(case, loop, r, results) for r in list_case_rechecks(case, loop)))


def _build_recheck(case: Case, loop: Loop, recheck: Recheck, results: dict[str, ProofResult]) -> ProofItem:
    """Return volts to measure again: done once the last reading is that of a sound loop, or not, and why."""
    item = ProofItem(RECHECK, recheck.measurement.key, recheck=recheck)
    said, reading = results.get(item.key), find_reread(case, loop, recheck)
    if reading is None or reading.taken_at is None:
        return replace(item, result=said)
    if said and said.noted_at > reading.taken_at:  # what was read is right, by what whoever read it knows
        return replace(item, result=said, reading=reading if said.done else None)
    value, before = understand(loop, reading).value, find_read_before(case, loop, recheck)
    done = recheck.holds(value)
    same = not done and before is not None and is_same(value, before)
    result = ProofResult(RECHECK, done, reading.taken_at, item.at, by=reading.by)
    return replace(item, result=result, reading=reading, is_as_before=same)


def _name_test(test: str, at: str) -> str:
    return f"{test} {at}".strip() if test in {FUNCTIONAL, RECHECK} else test


def _add_result(item: ProofItem, result: ProofResult | None) -> ProofItem:
    return item if result is None else ProofItem(item.test, item.at or result.at, item.reasons, result)


def choose_head(case: Case, loop: Loop) -> str:
    """Return the detector whose head comes off in the head-off test unless a person takes another.

    It is one that was off before the repair and showed no trouble; else the farthest of the loop that was repaired, or
    of the one that the complaint is about: its head is supervised only if all before it is.
    """
    unseen = [r.at for r in case.readings if (r.measurement, r.value) == ("head_off", "normal")]
    if unseen and loop.find_detector(unseen[-1]) is not None:
        return unseen[-1]
    return (_find_repaired(case, loop) or loop.focus(find_about(case)).chains[0]).last.name


def _find_repaired(case: Case, loop: Loop) -> Chain | None:
    """Return the loop in which the last repair that cured was made, or None where it has no place in one loop."""
    places = [place for r in case.repairs if r.cured for place in _list_places(r.fault)]
    return next((chain for place in reversed(places) if (chain := loop.find_chain(place))), None)


def _list_places(repair: str) -> list[str]:
    """Return the places in which a repair was made: a detector, an end, a zone, a part."""
    spots = repair.partition("@")[2].split(" + ")
    return [spot.removeprefix("run ").partition(".")[0] for spot in spots]


def _list_results(case: Case) -> list[ProofResult]:
    """Return the results that belong to the last repair that cured, oldest first."""
    cured = [r.done_at for r in case.repairs if r.cured]
    return [r for r in case.tests if not cured or r.noted_at >= max(cured)]


def _list_touched(case: Case, loop: Loop) -> list[tuple[str, Why]]:
    names = {d.name for d in loop.detectors}
    repaired = [place for r in case.repairs for place in (*_list_ends(loop, r.fault), *_list_all_named(loop, r))]
    every = (*case.readings, *(item.reading for item in case.retracted))  # taken back or not, a hand was there
    every = tuple(r for r in every if not was_told(r))
    places = [*repaired, *(place for r in every for place in _list_met(loop, r))]
    return [(place, "touched") for place in dict.fromkeys(places) if place in {*names, SOUGHT}]


def _list_met_at(case: Case, loop: Loop) -> list[tuple[str, Why]]:
    """Return the detectors whose test showed that something is wrong: the same test shows that it is right again."""
    names = {d.name for d in loop.detectors}
    tested = [r for r in case.readings if r.measurement == "functional_test" and r.at in names]
    return [(r.at, "met") for r in tested if r.value != _RIGHT]


def _list_ends(loop: Loop, repair: str) -> list[str]:
    """Return the detectors that a repair was made at; a run of cable ends at the detectors on both its sides."""
    places, spots = _list_places(repair), repair.partition("@")[2].split(" + ")
    runs = [pair for name, pair in loop.pairs.items() if f"run {_name_owner(name)}" in spots]
    sides = [_name_owner(end) for pair in runs for core in pair for end in (loop.by_name[core].a, loop.by_name[core].b)]
    return [*(_find_last(loop, p) if p.startswith("end") else p for p in places), *sides]


def _list_all_named(loop: Loop, repair: Repair) -> list[str]:
    """Return the detectors that anybody's plain words of a repair name: what was done, and what was seen there."""
    return [name for text in (repair.fault, repair.own_words, repair.found) for name in _list_named(loop, text)]


def _list_named(loop: Loop, repair: str) -> list[str]:
    """Return the detectors that plain words name, by number or by room."""
    if "@" in repair:
        return []
    numbers, typed = _BY_NUMBER.findall(repair), repair.casefold()
    rooms = [d.name for d in loop.detectors if len(d.label) >= _LEAST_ROOM and d.label.casefold() in typed]
    return [*(f"det{number}" for number in numbers), *rooms]


def _list_met(loop: Loop, r: Reading) -> list[str]:
    """Return the detectors that a reading took in hand."""
    if r.measurement == "heads_swapped":
        return [r.at, find_neighbour(loop, r.at)]
    if r.measurement in _TOUCHING:
        return [_find_last(loop, r.at) if r.at.startswith("end") else r.at]
    return [_name_owner(terminal) for terminal in (r.red, r.black) if terminal]


def _name_owner(terminal: str) -> str:
    return terminal.partition(".")[0]


def _list_chosen(case: Case, loop: Loop) -> list[tuple[str, Why]]:
    """Return the farthest detector of each loop in question, and for each kind the one farthest out there."""
    chains = _list_in_question(case, loop)
    kinds = {d.senses: d.name for d in (*loop.detectors, *(d for chain in chains for d in chain.detectors))}
    farthest: list[tuple[str, Why]] = [(chain.last.name, "farthest") for chain in chains]
    return [*farthest, *((name, "kind") for name in kinds.values())]


def _list_in_question(case: Case, loop: Loop) -> tuple[Chain, ...]:
    """Return the loop that was repaired, or that the complaint is about.

    A repair that lies in no loop, with a complaint of none, may have touched all of them; so does one at the panel's
    own zone board.
    """
    about = find_about(case)
    of_all = any(r.cured and _SWAPS in r.fault.partition("@")[0].split(" + ") for r in case.repairs)
    own = _find_repaired(case, loop) or (loop.focus(about).chains[0] if about else None)
    return tuple(loop.chains) if own is None or of_all else (own,)


def _find_last(loop: Loop, place: str) -> str:
    return (loop.find_chain(place) or loop.chains[0]).last.name


def is_proved(case: Case, loop: Loop) -> bool:
    """Return whether a repair cured and every test of the list after it is done."""
    return is_tested(case) and not list_untested(case, loop)


def list_untested(case: Case, loop: Loop) -> tuple[ProofItem, ...]:
    """Return what was not tested: said so, or never noted."""
    return tuple(i for i in list_proof(case, loop) if i.result is None or not i.result.done)


def list_unmended(case: Case, taken: tuple[Taken, ...]) -> tuple[Taken, ...]:
    """Return the readings that may still tell of a defect, of all that count.

    What a look found is mended where the repair was made. A head that raised no trouble is right once the head-off test
    after the repair is done at it. Where that was the complaint, all such heads are right with it, unless one was read
    so again since; a test at a head that raised trouble before says nothing of them.
    """
    cured = [r for r in case.repairs if r.cured]
    if not cured:
        return taken
    mended = {place for r in cured for place in _list_places(r.fault)}
    test = next((r for r in reversed(_list_results(case)) if r.test == HEAD_OFF), None)
    since = (r for r in case.readings if r.taken_at and r.taken_at >= cured[-1].done_at)
    again = {r.at for r in since if r.measurement == "head_off"}
    silent = {t.measurement.at for t in taken if t.measurement.kind == "head_off" and t.value == "normal"}
    right = {test.at} & silent if test is not None and test.done else set[str]()
    if right and case.symptom == "no_trouble_with_head_off":
        right = silent
    gone = {("look", place) for place in mended} | {("head_off", at) for at in right - again}
    return tuple(t for t in taken if (t.measurement.kind, t.measurement.at) not in gone)


def find_haste(case: Case, loop: Loop, item: ProofItem) -> tuple[float, float] | None:
    """Return after how many seconds a test was noted that waits for a trouble, and the panel's delay (s), if longer.

    It is counted from when the repair was noted. Who tested first and noted all afterwards has waited nevertheless: it
    is told as what it is, and nothing is refused.
    """
    cured = [r.done_at for r in case.repairs if r.cured]
    if item.test not in {HEAD_OFF, AT_REST} or item.result is None or not item.result.done or not cured:
        return None
    delay_s = build_part(loop.site.panel.profile, loop.site.panel.values, "panel").number("trouble_delay_s")
    after_s = (item.result.noted_at - cured[-1]).total_seconds()
    return (after_s, delay_s) if 0 <= after_s < delay_s else None
