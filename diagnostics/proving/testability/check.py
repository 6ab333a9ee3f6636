"""The testability of a loop: what its panel cannot see, what no measurement tells apart, and the least that is enough.

Published: faults that no test separates are told as one group, and the least set of test points is a set cover (fault
dictionaries of analogue circuits: W. Hochwald, J. D. Bastian, IEEE Trans. Circuits and Systems 26, 1979; J. A. Starzyk
et al., IEEE Trans. Instrumentation and Measurement 53, 2004; both from abstracts).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from diagnostics.readings import Bench, Faults, Forecast, Measurement, list_measurements, read_table
from diagnostics.reasoning import Group, build_prior, find_groups, find_repair_class, list_hypotheses
from diagnostics.wiring import Loop

from .apart import Apart, tell_apart
from .blind import Unseen, list_unseen
from .cover import Cover, Work, find_fewest, find_quickest, reduce_rows, unpack_rows

Flags = NDArray[np.bool_]
Index = NDArray[np.intp]
Purpose = Literal["detect", "repair", "separate"]
PURPOSES: tuple[Purpose, ...] = ("detect", "repair", "separate")
SECONDS: Final = 10.0
_TOGETHER: Final = 8


@dataclass(frozen=True, slots=True)
class Alike:
    """Hypotheses that no measurement tells apart (d′ below 2 in each), most probable first, with their repairs.

    An empty tuple of faults among the ``members`` is the sound loop: the others then show in nothing at all.
    """

    members: tuple[Faults, ...]
    probability: float
    d_prime: float
    repairs: tuple[tuple[str, str], ...]

    @property
    def has_sound(self) -> bool:
        """Return whether the sound loop is one of them."""
        return () in self.members


@dataclass(frozen=True, slots=True)
class Kit:
    """A set of measurements that is enough for a purpose; ``bound`` is in the unit of its aim, a number or minutes.

    ``minutes`` are of the whole set in one round from the panel and back, each place once.
    """

    measurements: tuple[Measurement, ...]
    minutes: float
    bound: float
    is_proved: bool


@dataclass(frozen=True, slots=True)
class Least:
    """What a purpose asks, and the least that does it: ``fewest`` measurements, and those of least minutes.

    Purposes: *detect* every fault that can be, tell what is put right by another *repair*, *separate* every two faults
    that can be. ``pairs`` are the pairs of hypotheses to be told apart, ``able`` those that some measurement does.
    Of all sets of so few, ``fewest`` is one of least minutes, unless ``fewest_minutes_bound`` says that this is open.
    """

    purpose: Purpose
    pairs: int
    able: int
    fewest: Kit
    fewest_minutes_bound: float
    quickest: Kit


@dataclass(frozen=True, slots=True)
class Testability:
    """The testability of a loop; ``alone`` is the chance that a fault is in a group of its own, with nothing beside it.

    ``mean_group`` is the expected number of hypotheses in the group of a fault. Both are weighted as the faults are.
    """

    faults: int
    measurements: int
    unseen: tuple[Unseen, ...]
    alike: tuple[Alike, ...]
    alone: float
    mean_group: float
    least: tuple[Least, ...]


def check_testability(loop: Loop, seconds: float = SECONDS) -> Testability:
    """Return the testability of a loop; each of the nine programs has that many ``seconds``.

    Raises
    ------
    PhysicsError
        A fault leaves the circuit without a balance of volts and currents.
    """
    bench = Bench(loop, list_hypotheses(loop))
    measurements = tuple(m for m in list_measurements(loop) if not m.data.nights)  # all of one visit
    apart = tell_apart(bench, measurements)
    groups = _find_groups(bench, measurements)
    weight = np.array([g.probability - _weigh_sound(g, bench) for g in groups])
    sizes = np.array([len(g.members) for g in groups])
    return Testability(
        len(bench.hypotheses) - 1,
        len(measurements),
        list_unseen(bench, measurements, unpack_rows(apart.sound, len(measurements))),
        tuple(_tell_group(g, bench) for g in groups if len(g.members) > 1),
        float(weight[sizes == 1].sum() / weight.sum()),
        float(weight @ sizes / weight.sum()),
        tuple(find_least(bench, measurements, apart, purpose, seconds) for purpose in PURPOSES),
    )


def _find_groups(bench: Bench, measurements: Sequence[Measurement]) -> tuple[Group, ...]:
    lows = range(0, len(measurements), _TOGETHER)
    parts = [partial(_forecast_some, bench, measurements[low : low + _TOGETHER]) for low in lows]
    return find_groups(parts, build_prior(bench, ()).probability, bench.meter)


def _forecast_some(bench: Bench, measurements: Sequence[Measurement], some: Index) -> Sequence[Forecast]:
    return bench.narrow(some).forecast_all(measurements)


def _weigh_sound(group: Group, bench: Bench) -> float:
    return float(build_prior(bench, ()).probability[0]) if 0 in group.members else 0.0


def _tell_group(group: Group, bench: Bench) -> Alike:
    members = tuple(bench.hypotheses[n] for n in group.members)
    repairs = tuple(dict.fromkeys(find_repair_class(h) for h in members if h))
    return Alike(members, group.probability, group.d_prime, repairs)


def find_least(
    bench: Bench, measurements: Sequence[Measurement], apart: Apart, purpose: Purpose, seconds: float = SECONDS
) -> Least:
    """Return the least that does for a purpose what all measurements together can do."""
    wanted = apart.bits[_find_wanted(bench, apart, purpose)]
    rows = unpack_rows(reduce_rows(wanted), len(measurements))
    work = build_work(measurements)
    fewest = find_fewest(rows, seconds)
    short = _shorten(rows, work, fewest, seconds)
    quickest = find_quickest(rows, work, seconds)
    return Least(
        purpose,
        int(wanted.shape[0]),
        int(wanted.any(axis=1).sum()),
        _build_kit(measurements, work, short.chosen, fewest),
        short.bound,
        _build_kit(measurements, work, quickest.chosen, quickest),
    )


def _find_wanted(bench: Bench, apart: Apart, purpose: Purpose) -> Flags:
    """Return which pairs have to be told apart, (pair,)."""
    names: dict[tuple[str, str], int] = {}
    if purpose == "separate":
        return np.ones(apart.first.size, dtype=np.bool_)
    if purpose == "detect":
        with_sound: Flags = apart.first == 0
        return with_sound
    classes = np.array([names.setdefault(find_repair_class(h), len(names)) for h in bench.hypotheses])
    differ: Flags = classes[apart.first] != classes[apart.second]
    return differ


def _shorten(rows: Flags, work: Work, fewest: Cover, seconds: float) -> Cover:
    """Return of all covers of so few columns one of least minutes; the one there is where no other is found in time."""
    minutes = work.add_up(np.array(fewest.chosen, dtype=np.intp))
    try:
        found = find_quickest(rows, work, seconds, most=len(fewest.chosen))
    except ValueError:
        return Cover(fewest.chosen, minutes, 0.0)
    return found if found.value <= minutes else Cover(fewest.chosen, minutes, found.bound)


def build_work(measurements: Sequence[Measurement]) -> Work:
    """Return what measurements cost in one round: the way to each place once, and to find it where nobody knows it."""
    travel = read_table().travel
    places = list(dict.fromkeys(m.place for m in measurements if m.place != "panel"))
    sought = {m.place for m in measurements if m.is_sought}
    return Work(
        np.array([m.work_minutes for m in measurements]),
        np.array([places.index(m.place) if m.place != "panel" else -1 for m in measurements], dtype=np.intp),
        np.array([travel.between_detectors + (travel.search if p in sought else 0.0) for p in places]),
        travel.to_detector - travel.between_detectors + travel.back_to_panel,
    )


def _build_kit(measurements: Sequence[Measurement], work: Work, chosen: Sequence[int], found: Cover) -> Kit:
    minutes = work.add_up(np.array(chosen, dtype=np.intp))
    return Kit(tuple(measurements[n] for n in chosen), minutes, found.bound, found.is_proved)
