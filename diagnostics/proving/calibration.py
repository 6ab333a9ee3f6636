"""Whether probabilities hold: visits in the referee's worlds, and every belief on the way held to what was so.

The one-step rule leads. A visit begins with a complaint and with a fault drawn from what the engine then believes.
*Matched* worlds are as wide as the engine believes, slips are as common in them, and so is *something not modelled*: an
effect outside the catalogue, mended by no repair or by one that happens to reach it. *Wide* worlds are the referee's
own, and the weight of every kind of fault is half or double. All visits to one site share one bench.
"""

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from functools import partial
from zlib import crc32

import numpy as np
from numpy.typing import NDArray

from diagnostics.faults import CONTEXTS, Context, Fault, read_catalogue
from diagnostics.readings import Faults, read_table
from diagnostics.reasoning import (
    NOTHING,
    SYMPTOMS,
    Fitting,
    InformationPerMinute,
    Question,
    build_prior,
    conclude,
    find_repair_class,
    rate_symptom,
)
from diagnostics.reasoning.likelihood import LEAST_OHM, SLIP_ANY, SLIP_LEAD_OFF, SLIP_PREFIX, SLIP_TURNED, WIDEST_V
from diagnostics.referee import (
    OUTSIDE,
    PREFIX,
    Ask,
    BelievedSlips,
    NeverSettlesError,
    NotPlayedError,
    Person,
    Plant,
    Spreads,
    World,
    build_world,
    find_sound_seed,
    mode_states,
    read_spreads,
    zones_show,
)

from .came_out import prove_cause
from .policies import Interval, find_share
from .stand import Stand, play_sites
from .unmodelled import build_strange

MOST_STEPS, MOST_REPAIRS, MOST_WORLDS, MOST_STRANGE = 25, 3, 5, 40
BINS, RESAMPLES = 10, 1000
OFF_BY = 2.0  # by how much a weight is wrong in wide worlds
_SHOWN = {"constant_trouble": "trouble", "alarm_with_nothing_there": "alarm"}

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Beliefs = tuple[Array, Flags]
Repair = tuple[str, str]


@dataclass(frozen=True, slots=True)
class Told:
    """One visit: the probability of the leading repair at every step and whether it was the right one.

    ``right`` is whether the repair that was settled first was right, None where none was; ``verified`` whether the last
    that was made, settled or tried, was right, so that the tests let it stand. ``cause`` is what was said of what came
    out where the one settled first was right; None where a meter could tell nothing of it.
    """

    site: str
    fault: str
    symptom: str
    said: tuple[float, ...]
    held: tuple[bool, ...]
    right: bool | None
    verified: bool | None
    cause: Fitting | None = None

    @property
    def is_catalogued(self) -> bool:
        """Return whether what was wrong is in the catalogue."""
        return not self.fault.startswith(PREFIX)


@dataclass(frozen=True, slots=True)
class Calibration:
    """What probabilities are worth: scores over all beliefs, with 95 % intervals by drawing visits anew.

    ``error`` is the expected calibration error over bins of equal width; ``bins`` has count, mean probability and share
    that held of each.
    """

    visits: int
    beliefs: int
    brier: Interval
    log_loss: Interval
    error: Interval
    right: Interval
    verified: Interval
    never: Interval
    bins: tuple[tuple[int, float, float], ...]


def play_calibration(
    ask: Ask, styles: Sequence[str], count: int, seed: int, *, wide: bool, jobs: int = 1
) -> list[Told]:
    """Return so many visits at every site of each style."""
    return play_sites(partial(play_visits, count=count, seed=seed, wide=wide), ask, styles, jobs)


def play_visits(stand: Stand, *, count: int, seed: int, wide: bool) -> list[Told]:
    """Return so many visits to a site; what cannot be played is drawn anew."""
    draws = _Draws(stand, wide=wide)
    told: list[Told] = []
    number = 0
    while len(told) < count:
        rng = np.random.default_rng([seed, crc32(stand.site.stem.encode()), number])
        visit = draws.play(rng, (seed, number))
        number += 1
        told += [visit] if visit is not None else []
    return told


class _Draws:
    """How the visits to a site are drawn, and played."""

    def __init__(self, stand: Stand, *, wide: bool) -> None:
        self.stand, self.bench, self.wide = stand, stand.bench, wide
        self.spreads = read_spreads() if wide else _read_believed()
        self.rates = {name: rate_symptom(self.bench, name) for name in SYMPTOMS}

    def play(self, rng: np.random.Generator, seed: tuple[int, int]) -> Told | None:
        """Return one drawn visit; None where the referee cannot play what was drawn."""
        context: Context = CONTEXTS[int(rng.integers(len(CONTEXTS)))]
        prior = build_prior(self.bench, (context,))
        if not self.wide and rng.uniform() < prior.not_modelled:
            return self._visit_strange(rng, context, seed)
        weight = prior.probability * self._spoil(rng)
        names = [name for name, rate in self.rates.items() if np.ptp(rate) > 0]
        share = np.array([float((weight * self.rates[name]).sum()) for name in names])
        symptom = names[int(rng.choice(len(names), p=share / share.sum()))]
        chance = weight * self.rates[symptom]
        number = int(rng.choice(chance.size, p=chance / chance.sum()))
        faults = self.bench.hypotheses[number]
        fault = write_drawn(faults, rng)
        plant = Plant(self.stand.site, fault, context, seed)
        shows = bool(self.rates[symptom][number] > 0.5)
        try:
            world = self._build_world(plant, _SHOWN.get(symptom) if shows else None)
            cures = {find_repair_class(faults)}
            return None if world is None else self._visit(Person(world, plant), cures, symptom, context)
        except (NotPlayedError, NeverSettlesError):
            return None
        finally:
            self.stand.forget(fault)

    def _visit_strange(self, rng: np.random.Generator, context: Context, seed: tuple[int, int]) -> Told | None:
        """Return the visit to an effect outside the catalogue, for the complaint that it makes; None for none."""
        effects = sorted(OUTSIDE)
        for number in range(MOST_STRANGE):
            fault = PREFIX + effects[int(rng.integers(len(effects)))]
            plant = Plant(self.stand.site, fault, context, (*seed, number))
            strange = build_strange(self.stand, plant, self.spreads)
            if strange is not None:
                return self._visit(Person(strange.world, plant), strange.cures, strange.symptom, context)
        return None

    def _spoil(self, rng: np.random.Generator) -> Array:
        """Return by how much the weight of each hypothesis is wrong: in wide worlds each kind is half or double."""
        kinds = ["".join(fault.kind for fault in h) for h in self.bench.hypotheses]
        if not self.wide:
            return np.ones(len(kinds))
        off = {kind: OFF_BY ** (1 if rng.uniform() < 0.5 else -1) for kind in dict.fromkeys(kinds)}
        return np.array([off[kind] for kind in kinds])

    def _build_world(self, plant: Plant, shown: str | None) -> World | None:
        """Return a world of a plant; where the complaint is of a word at the panel, one that shows it."""
        for number in range(MOST_WORLDS):
            seed = find_sound_seed(self.stand.line, self.stand.site, (*plant.seed, number), self.spreads)
            world = build_world(self.stand.line, self.stand.site, plant.fault, seed, self.spreads)
            if shown is None or shown in zones_show(world, mode_states(world, "standby")).values():
                return world
        return None

    def _visit(self, person: Person, cures: Collection[Repair], symptom: str, context: Context) -> Told:
        """Return the visit to a world that some repairs would mend, or none."""
        question = Question(contexts=(context,), symptom=symptom)
        said, held, repairs = list[float](), list[bool](), list[Repair]()
        settled: Repair | None = None
        cause: Fitting | None = None
        for _ in range(MOST_STEPS):
            found = conclude(self.bench, question, InformationPerMinute())
            weights = found.weigh_repairs()
            leader = max(weights, key=lambda repair: weights[repair])
            if not repairs:
                said.append(weights[leader])
                held.append(leader in cures)
            if settled is None and found.settled in {*cures} - {NOTHING} and found.settled is not None:
                cause = prove_cause(self.stand, person.world, found.list_candidates(), found.settled)
            settled = settled or found.settled
            done = found.settled or found.repair
            if done is not None:
                repairs.append(done)
                if done in {*cures, NOTHING} or len(repairs) == MOST_REPAIRS:
                    break
                question = question.go_on(done)
                continue
            if found.action is None or found.action.measurement is None:
                break
            question = self.stand.read(person, question, found.action.measurement)
        right, verified = (settled in cures, repairs[-1] in cures) if settled else (None, None)
        fault, site = person.plant.fault, self.stand.site.stem
        return Told(site, fault, symptom, tuple(said), tuple(held), right, verified, cause)


def _read_believed() -> Spreads:
    """Return worlds as wide as the engine believes, with the slips that it believes in."""
    table = read_table()
    slips = BelievedSlips(
        shares={kind: data.misread for kind, data in table.kinds.items()},
        turned=SLIP_TURNED,
        prefix=SLIP_PREFIX,
        off=SLIP_LEAD_OFF,
        anything=SLIP_ANY,
        widest_v=WIDEST_V,
        least_ohm=LEAST_OHM,
    )
    return read_spreads().as_believed(table.threshold_share, table.stray_v, slips)


def write_drawn(faults: Faults, rng: np.random.Generator) -> str:
    """Return faults as text, a value of their own drawn as widely as the engine believes; *healthy* for none."""
    return ",".join(_write_one(fault, rng) for fault in faults) or "healthy"


def _write_one(fault: Fault, rng: np.random.Generator) -> str:
    values = read_catalogue().values
    share = {"earth_fault": values.earth_spread_share}.get(fault.kind, values.spread_share)
    if fault.value_ohm is None or fault.kind not in {"joint_resistive", "leak", "earth_fault"}:
        return fault.text
    return f"{fault.kind}={fault.value_ohm * np.exp(share * np.clip(rng.normal(), -2, 2)):.0f}@{fault.place}"


def rate_brier(said: Array, held: Flags) -> float:
    """Return the mean square of what was said less what was (Brier 1950, formula from memory)."""
    return float(np.mean((said - held) ** 2))


def rate_log_loss(said: Array, held: Flags) -> float:
    """Return the mean of minus the logarithm of the probability of what was; certainty is taken as nearly so."""
    tiny = np.finfo(np.float64).eps
    sure = np.clip(said, tiny, 1 - tiny)
    return float(-np.mean(np.where(held, np.log(sure), np.log(1 - sure))))


def rate_error(said: Array, held: Flags) -> float:
    """Return the expected calibration error: over bins, how far the share that held is from what was said, weighed."""
    return float(sum(count * abs(mean - share) for count, mean, share in list_bins(said, held)) / max(said.size, 1))


def list_bins(said: Array, held: Flags) -> tuple[tuple[int, float, float], ...]:
    """Return count, mean of what was said and share that held of each bin that is not empty."""
    number = np.minimum((said * BINS).astype(np.intp), BINS - 1)
    some = [(said[number == n], held[number == n]) for n in range(BINS)]
    return tuple((int(s.size), float(s.mean()), float(h.mean())) for s, h in some if s.size)


def rate_calibration(visits: Sequence[Told]) -> Calibration:
    """Return the scores of visits; as beliefs of one visit hang together, intervals come from visits drawn anew."""
    said = [np.array(v.said) for v in visits]
    held = [np.array(v.held, dtype=np.bool_) for v in visits]
    every = np.concatenate(said), np.concatenate(held)
    rng = np.random.default_rng(1)
    drawn = [rng.integers(len(visits), size=len(visits)) for _ in range(RESAMPLES)]
    again = [(np.concatenate([said[n] for n in some]), np.concatenate([held[n] for n in some])) for some in drawn]
    brier, log_loss, error = (_bound(rate, every, again) for rate in (rate_brier, rate_log_loss, rate_error))
    settled = [v for v in visits if v.right is not None]
    return Calibration(
        visits=len(visits),
        beliefs=int(every[0].size),
        brier=brier,
        log_loss=log_loss,
        error=error,
        right=find_share([bool(v.right) for v in settled]),
        verified=find_share([bool(v.verified) for v in settled]),
        never=find_share([v.right is None for v in visits]),
        bins=list_bins(*every),
    )


def _bound(rate: Callable[[Array, Flags], float], every: Beliefs, again: Sequence[Beliefs]) -> Interval:
    """Return a score with its interval; that of the calibration error lies high, since chance alone adds to it."""
    low, high = np.quantile([rate(*one) for one in again], (0.025, 0.975))
    return Interval(rate(*every), float(low), float(high), every[0].size)
