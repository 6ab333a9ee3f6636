"""Ways of working compared by the referee, each on the same faults in the same worlds, for the same minutes.

A population is drawn by seed and told by its hash. What nobody would call for, what never comes to rest, and what the
referee has no words for is left out and listed.
"""

import hashlib
import math
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial
from multiprocessing import get_context
from pathlib import Path
from typing import Literal

import numpy as np
from pydantic import BaseModel, ConfigDict

from diagnostics.errors import NotFoundError, find_nearest
from diagnostics.referee import (
    STYLES,
    Ask,
    Line,
    NeverSettlesError,
    NotPlayedError,
    Plant,
    UnseenError,
    Visit,
    draw_plant,
    list_sites,
    play_visit,
    read_spreads,
)
from diagnostics.source import parse_model, read_file

_FILE = Path(__file__).with_name("populations.yaml")
TWO_SIDED = 1.96  # standard deviations of a 95 % interval
Tell = Callable[[str], None]


class Population(BaseModel):
    """Faults by seed and style; ``draws`` of each style are covered by the hash."""

    model_config = ConfigDict(extra="forbid", frozen=True)
    about: str
    seed: int
    styles: tuple[str, ...]
    draws: int
    sha256: str


class _File(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)
    format: Literal["ohmward-populations/1"]
    populations: dict[str, Population]


@dataclass(frozen=True, slots=True)
class Interval:
    """A mean or a share with its 95 % interval, and of how many."""

    value: float
    low: float
    high: float
    count: int


@dataclass(frozen=True, slots=True)
class Tally:
    """What one way of working came to: shares and minutes with their intervals, counts as they are.

    ``minutes`` are to restored and tested, a visit that leaves the loop as it was being charged another; ``longer`` is
    by how much more than *ours* on the same faults. ``right`` is of those that settled before any repair.
    """

    policy: str
    visits: int
    restored: Interval
    minutes: Interval
    longer: Interval | None
    right: Interval
    wrongly_settled: int
    never_settled: int
    refused: int
    settled_minutes: Interval


def read_populations() -> dict[str, Population]:
    """Return the populations that ship with the package, by name."""
    return parse_model(read_file(_FILE), _File).populations


def find_population(name: str) -> Population:
    """Return a population by name; raises NotFoundError."""
    known = read_populations()
    if name not in known:
        near = find_nearest(name, known)
        raise NotFoundError(f"there is no population {name!r}", hint=f"did you mean {near!r}?" if near else "")
    return known[name]


def hash_population(population: Population, ask: Ask) -> str:
    """Return the SHA-256 of all draws of a population and of the sites they are drawn at, in hexadecimal digits."""
    line, digest = Line(ask), hashlib.sha256()
    for style in population.styles:
        for number in range(population.draws):
            plant = draw_plant(line, style, (population.seed, number))
            digest.update(f"{plant.text}\n{plant.site.read_text(encoding='utf-8')}\n".encode())
    return digest.hexdigest()


def play_population(
    population: Population, ask: Ask, policies: Sequence[str], count: int, *, jobs: int = 1, tell: Tell = print
) -> list[Visit]:
    """Return the visits of so many visible faults of each style under every way of working; ``tell`` hears the rest."""
    if jobs == 1:
        play = partial(_play_style, population, ask, tuple(policies), count)
        played = [play(style) for style in population.styles]
    else:
        with ProcessPoolExecutor(jobs, mp_context=get_context("spawn")) as pool:
            played = list(pool.map(partial(_play_style, population, ask, tuple(policies), count), population.styles))
    for skipped in (text for _, texts in played for text in texts):
        tell(skipped)
    return [visit for visits, _ in played for visit in visits]


def _play_style(
    population: Population, ask: Ask, policies: tuple[str, ...], count: int, style: str
) -> tuple[list[Visit], list[str]]:
    line, visits, skipped = Line(ask), list[Visit](), list[str]()
    seen = 0
    for number in range(population.draws):
        if seen == count:
            break
        plant = draw_plant(line, style, (population.seed, number))
        try:
            visits += [play_visit(line, plant, policy) for policy in policies]
            seen += 1
        except (UnseenError, NeverSettlesError, NotPlayedError) as error:
            skipped.append(f"left out, {_REASONS[type(error)]}: {plant.text}")
    return visits, skipped


_REASONS = {UnseenError: "nothing to call for", NeverSettlesError: "never at rest", NotPlayedError: "no words for it"}


def rehearse(ask: Ask, plant: Plant, policy: str, *, careful: bool = False) -> Visit:
    """Play one visit at any site; ``careful`` people make no slips.

    Raises
    ------
    UnseenError, NeverSettlesError, NotPlayedError
        Nobody would call for it; it never comes to rest; the referee has no words for it.
    """
    wide = read_spreads()
    return play_visit(Line(ask), plant, policy, wide.with_slips(0.0, 0.0) if careful else wide)


def tally_policies(visits: Sequence[Visit]) -> tuple[Tally, ...]:
    """Return the figures of each way of working, in the order in which they were played."""
    ours = {_key(v): find_charged(v) for v in visits if v.policy == "ours"}
    return tuple(_tally(policy, visits, ours) for policy in dict.fromkeys(v.policy for v in visits))


def _key(visit: Visit) -> tuple[str, str, tuple[int, ...]]:
    return visit.site, visit.fault, visit.seed


def find_charged(visit: Visit) -> float:
    """Return the minutes of a visit, another visit included where the loop was left as it was."""
    return visit.minutes + (0.0 if visit.restored else read_spreads().minutes.second_visit)


def _tally(policy: str, visits: Sequence[Visit], ours: dict[tuple[str, str, tuple[int, ...]], float]) -> Tally:
    mine = [v for v in visits if v.policy == policy]
    settled = [v for v in mine if v.right is not None]
    longer = [find_charged(v) - ours[_key(v)] for v in mine if _key(v) in ours]
    return Tally(
        policy=policy,
        visits=len(mine),
        restored=find_share([v.restored for v in mine]),
        minutes=find_mean([find_charged(v) for v in mine]),
        longer=find_mean(longer) if longer and policy != "ours" else None,
        right=find_share([v.right is True for v in settled]),
        wrongly_settled=sum(v.right is False for v in settled),
        never_settled=len(mine) - len(settled),
        refused=sum(v.ended == "refused" for v in mine),
        settled_minutes=find_mean([v.settled_minutes for v in settled if v.settled_minutes is not None]),
    )


def find_mean(values: Sequence[float]) -> Interval:
    """Return a mean with its interval by the normal law; not a number for none, as wide as can be for one."""
    if not values:
        return Interval(math.nan, math.nan, math.nan, 0)
    mean = float(np.mean(values))
    half = TWO_SIDED * float(np.std(values, ddof=1)) / math.sqrt(len(values)) if len(values) > 1 else math.inf
    return Interval(mean, mean - half, mean + half, len(values))


def find_share(hits: Sequence[bool]) -> Interval:
    """Return a share with its interval after Wilson (1927); not a number for none."""
    count = len(hits)
    if not count:
        return Interval(math.nan, math.nan, math.nan, 0)
    share, square = sum(hits) / count, TWO_SIDED**2
    middle = (share + square / (2 * count)) / (1 + square / count)
    half = TWO_SIDED * math.sqrt(share * (1 - share) / count + square / (4 * count**2)) / (1 + square / count)
    return Interval(share, max(0.0, middle - half), min(1.0, middle + half), count)


def list_styles(visits: Sequence[Visit]) -> Iterator[tuple[str, tuple[Tally, ...]]]:
    """Yield each wiring style of the referee's sites with the figures of its visits."""
    for style in STYLES:
        names = {site.stem for site in list_sites(style)}
        mine = [v for v in visits if v.site in names]
        if mine:
            yield style, tally_policies(mine)
