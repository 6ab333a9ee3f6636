"""Outside the catalogue: what the engine makes of a loop with an effect that it has no fault for.

It should say that what was read fits nothing, or that something is wrong which it does not model; it must not settle.
Where it settles on what cures, the complaint is gone and its cause not known: what came out, measured, may tell.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from typing import Literal
from zlib import crc32

from diagnostics.faults import Context
from diagnostics.reasoning import Conclusion, Fitting, InformationPerMinute, Question, conclude
from diagnostics.referee import (
    OUTSIDE,
    PREFIX,
    STRANGE,
    Ask,
    NeverSettlesError,
    NoRoomError,
    NotPlayedError,
    Person,
    Plant,
    Spreads,
    World,
    build_world,
    find_complaint,
    read_spreads,
)

from .came_out import prove_cause
from .policies import Interval, find_share
from .stand import Stand, play_sites

MOST_STEPS, MOST_TRIED, MOST_DRAWS = 25, 3, 200
SAID = 0.5  # from this probability of *something not modelled* up it is what the program says
CONTEXT: Context = "aged"
_RUN = re.compile(r"(?:^|\.)(\w+)\.(?:in|out)[+_-]")  # of a terminal or a wire: det3 of ``cut.wire.det3.in+``

End = Literal["not modelled", "does not fit", "its place", "wrongly", "undecided"]


@dataclass(frozen=True, slots=True)
class Strange:
    """A world with something outside the catalogue, what is complained of, and the repairs that reach it."""

    world: World
    symptom: str
    cures: frozenset[tuple[str, str]]


@dataclass(frozen=True, slots=True)
class Outsider:
    """One visit to a loop with something outside the catalogue, and what the engine came to.

    *Its place*: it settled on remaking the very run that the effect sits in, or on another input for the very zone, or
    tried that before it was settled; *wrongly*: it settled on anything else. ``settled`` is that repair. ``cause`` is
    what was said once it was made and what came out was measured; None where none was made that reaches the effect, or
    nothing came out that a meter could tell.
    """

    site: str
    effect: str
    symptom: str
    end: End
    settled: tuple[str, str] | None
    steps: int
    cause: Fitting | None = None


def play_unmodelled(ask: Ask, styles: Sequence[str], count: int, seed: int, *, jobs: int = 1) -> list[Outsider]:
    """Return so many visits to every site of each style, the effects in turn."""
    return play_sites(partial(play_outsiders, count=count, seed=seed), ask, styles, jobs)


def play_outsiders(stand: Stand, *, count: int, seed: int) -> list[Outsider]:
    """Return so many visits to a site at which somebody would call."""
    found: list[Outsider] = []
    effects = sorted(OUTSIDE)
    for number in range(MOST_DRAWS):
        if len(found) == count:
            break
        effect = effects[(number + crc32(stand.site.stem.encode())) % len(effects)]
        plant = Plant(stand.site, f"{PREFIX}{effect}", CONTEXT, (seed, number))
        strange = build_strange(stand, plant, read_spreads().with_slips(0.0, 0.0))
        if strange is not None:
            found.append(_play(stand, plant, strange))
    return found


def build_strange(stand: Stand, plant: Plant, spreads: Spreads) -> Strange | None:
    """Return the world of an effect outside the catalogue; None where it has no room or nobody complains of it."""
    try:
        world, sound = (
            build_world(stand.line, stand.site, fault, plant.seed, spreads) for fault in (plant.fault, "healthy")
        )
        symptom = find_complaint(world)
        if symptom is None or symptom == find_complaint(sound):  # what is drawn may be complained of by itself
            return None
        return Strange(world, symptom, _find_cures(world, sound))
    except (NoRoomError, NotPlayedError, NeverSettlesError):
        return None


def _play(stand: Stand, plant: Plant, strange: Strange) -> Outsider:
    """Return the visit up to what is settled first, or said not to fit; a repair tried before that may reach it."""
    person, symptom = Person(strange.world, plant), strange.symptom
    question = Question(contexts=(CONTEXT,), symptom=symptom)
    for _ in range(MOST_STEPS):
        found = conclude(stand.bench, question, InformationPerMinute())
        done = found.settled or found.repair
        said = _find_said(found)
        if done is not None and (found.settled or said or done in strange.cures or len(question.tried) == MOST_TRIED):
            break
        if done is not None:
            question = question.go_on(done)
            continue
        if found.action is None or found.action.measurement is None:
            break
        question = stand.read(person, question, found.action.measurement)
    end = _find_end(found, done, strange.cures)
    effect = plant.fault.removeprefix(PREFIX)
    cause = None
    if end == "its place" and done is not None:
        cause = prove_cause(stand, strange.world, found.list_candidates(), done)
    settled = done if end in {"its place", "wrongly"} else None
    return Outsider(stand.site.stem, effect, symptom, end, settled, len(question.taken), cause)


def _find_cures(world: World, sound: World) -> frozenset[tuple[str, str]]:
    """Return the repairs that reach an effect: of the run that it sits in, or of the zone whose source is another."""
    at = next((str(p["a"]) for p in world.parts if p["name"].startswith(STRANGE)), "")
    if run := _RUN.search(at):
        return frozenset((remedy, f"run {run[1]}") for remedy in ("mend_conductor", "mend_insulation"))
    right = {p["name"]: p.get("emf") for p in sound.parts}
    worn = [p["name"] for p in world.parts if p["name"].startswith("source.zone") and p["emf"] != right[p["name"]]]
    return frozenset(("swap_zone_input", name.removeprefix("source.")) for name in worn)


def _find_end(found: Conclusion, done: tuple[str, str] | None, cures: frozenset[tuple[str, str]]) -> End:
    said = _find_said(found)
    if found.settled is None and said is not None:
        return said
    if done in cures:
        return "its place"
    return "undecided" if found.settled is None else "wrongly"


def _find_said(found: Conclusion) -> Literal["does not fit", "not modelled"] | None:
    if found.contradiction is not None:
        return "does not fit"
    return "not modelled" if found.belief.not_modelled >= SAID else None


@dataclass(frozen=True, slots=True)
class Tally:
    """Shares of visits by what they came to: said to fit nothing or not to be modelled, the place itself, wrongly.

    ``said_by_then`` is *said*, or said of what came out once the repair was made: before or after it.
    """

    said: Interval
    its_place: Interval
    wrongly: Interval
    undecided: Interval
    said_by_then: Interval


def tally_unmodelled(visits: Sequence[Outsider]) -> Tally:
    """Return the shares of some visits."""
    ends = [v.end for v in visits]
    is_said = [end in {"not modelled", "does not fit"} for end in ends]
    said = find_share(is_said)
    by_then = find_share([told or v.cause == "does not fit" for told, v in zip(is_said, visits, strict=True)])
    place, wrongly, undecided = (
        find_share([e == word for e in ends]) for word in ("its place", "wrongly", "undecided")
    )
    return Tally(said, place, wrongly, undecided, by_then)
