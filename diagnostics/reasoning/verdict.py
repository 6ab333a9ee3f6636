"""From what is known to what it means: candidates, groups, whether it is settled, what next and why - all as data."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from diagnostics.faults import read_catalogue
from diagnostics.readings import (
    Bench,
    Forecast,
    Measurement,
    is_offered,
    list_measurements,
)

from .ahead import PlanAhead
from .answer import NOTHING, Candidate, Contradiction, Diagnosis, Question, SuspectGroup
from .belief import Belief, build_prior, leave_open
from .choose import Action, Policy, Situation, find_best
from .confirm import (
    PANEL,
    find_bracket,
    find_confirmation,
    find_direct,
    find_held,
    find_parting,
    find_second_thought,
    find_sight,
    find_work_place,
    is_seen,
    is_shorted,
    weigh_kinds,
)
from .expect import expect_answers
from .groups import Group, find_groups, find_splitter
from .lazily import Lazily
from .repairs import list_repairs, weigh_repairs
from .told import find_misfit, find_split, weigh

Array = NDArray[np.float64]
Index = NDArray[np.intp]
SETTLED = 0.95
KEPT_MASS = 0.9985
MOST_KEPT = 300
MOST_TOGETHER = 8
LEAST_GROUP = 0.005
MOST_SINCE = 3  # readings that are asked for once one stands that fits nothing; invented
VALUED = frozenset({"leak", "joint_resistive"})  # what has an ohm value of its own, in the catalogue's steps
LEAST_SHARE = 0.2  # of its step that a value may be taken for: beyond that the straight line does not hold; invented
NIGHT_BITS = 0.2  # bits about the repair that a reading left over night must tell at least; invented


@dataclass(frozen=True, slots=True)
class _State:
    """What has been concluded so far; ``kept`` are the hypotheses that carry nearly all probability."""

    bench: Bench
    question: Question
    belief: Belief
    repairs: tuple[tuple[str, str], ...]
    kept: Index
    contradiction: Contradiction | None
    settled: tuple[str, str] | None

    @property
    def classes(self) -> tuple[tuple[str, str], ...]:
        """Return the repair classes of the kept hypotheses; *nothing to repair* is always the first."""
        return tuple(dict.fromkeys([NOTHING, *(self.repairs[n] for n in self.kept)]))

    @property
    def kept_belief(self) -> Belief:
        """Return the belief in the kept hypotheses only."""
        b, kept = self.belief, self.kept
        return Belief(b.probability[kept], b.not_modelled, b.moved[kept], b.open[kept])


@dataclass(frozen=True, slots=True)
class Conclusion:
    """A diagnosis without its groups: the belief, what is repaired under each hypothesis, what is settled, what next.

    ``repair`` is the repair that ``action`` means, where it means one.
    """

    bench: Bench
    belief: Belief
    repairs: tuple[tuple[str, str], ...]
    settled: tuple[str, str] | None
    contradiction: Contradiction | None
    action: Action | None
    repair: tuple[str, str] | None

    def weigh_repairs(self) -> dict[tuple[str, str], float]:
        """Return the probability of each repair, *nothing to repair* among them."""
        return weigh_repairs(self.belief, self.repairs)

    def list_candidates(self) -> tuple[Candidate, ...]:
        """Return the hypotheses with their probabilities, most probable first."""
        return _list_candidates(self.bench, self.belief, self.repairs)


def conclude(bench: Bench, question: Question, policy: Policy | None = None) -> Conclusion:
    """Return what the readings mean and what to do next, as ``diagnose`` does, and nothing that is only to be told."""
    state = _build_state(bench, question)
    settled, action = _choose(state, state.bench.narrow(state.kept), policy)
    repair = _name_repair(state, action)
    return Conclusion(state.bench, state.belief, state.repairs, settled, state.contradiction, action, repair)


def diagnose(bench: Bench, question: Question, policy: Policy | None = None) -> Diagnosis:
    """Return what the readings mean and what to do next.

    ``bench`` must hold *healthy* first and then single faults, as ``list_hypotheses`` gives them. Two faults at once
    come in where single ones do not explain the readings; each is then repaired by itself, the surer one first.
    """
    state = _build_state(bench, question)
    narrow, belief = state.bench.narrow(state.kept), state.belief
    settled, action = _choose(state, narrow, policy)
    offered = _list_offered(state)
    known = {m.key for m in offered}
    more = [m for m in list_measurements(state.bench.loop) if m.key not in known]
    parts = [partial(_forecast_some, narrow, part) for part in _part_measurements(offered)]
    groups = find_groups(parts, belief.probability[state.kept], state.bench.meter, LEAST_GROUP)
    return Diagnosis(
        _list_candidates(state.bench, belief, state.repairs),
        belief.not_modelled,
        tuple(_tell_group(g, narrow, more, question) for g in groups),
        settled,
        state.contradiction,
        action,
        _name_repair(state, action),
        expect_answers(action, groups, narrow, state.kept_belief),
    )


def _build_state(bench: Bench, question: Question) -> _State:
    told = weigh(bench, question)
    belief, contradiction = told.belief, told.contradiction
    repairs = list_repairs(told.bench.hypotheses, belief)
    settled = _find_settled(belief, repairs, contradiction)
    if settled is not None:
        contradiction = find_misfit(told, question, np.array([r == settled for r in repairs]))
        settled = settled if contradiction is None else None
    if contradiction is not None and contradiction.stands:
        belief = leave_open(belief)
    return _State(told.bench, question, belief, repairs, _keep(belief.probability), contradiction, settled)


def _list_offered(state: _State) -> list[Measurement]:
    """Return what can be read at this visit."""
    return [m for m in _list_able(state) if not m.data.nights]


def _list_able(state: _State) -> list[Measurement]:
    question = state.question
    every = list_measurements(state.bench.loop)
    return [m for m in every if is_offered(m, question.can) and m.key not in question.skipped]


def _choose(state: _State, narrow: Bench, policy: Policy | None) -> tuple[tuple[str, str] | None, Action | None]:
    """Return what is settled, once nothing is to be confirmed first, and the next action; none if all is right."""
    if state.settled == NOTHING:
        return NOTHING, None
    situation = _build_situation(state, narrow, _list_offered(state))
    action = _confirm(state, situation)
    settled = state.settled if action is None else None
    action = action or _doubt_again(state, situation, (policy or PlanAhead()).choose(situation))
    return settled, _wait_a_night(state, narrow, action)


def _doubt_again(state: _State, situation: Situation, action: Action) -> Action:
    """Return what is read before a repair is tried that was made already: nothing amiss was read there since."""
    name = _name_repair(state, action)
    if name not in state.question.tried or state.settled is not None:
        return action
    since = situation.taken[find_split(state.question) :]
    return _find_direct(state, replace(situation, settled=action.repair, taken=since)) or action


def _wait_a_night(state: _State, narrow: Bench, action: Action) -> Action:
    """Return what is read over a night where nothing quicker tells any more, and it tells enough; else the action."""
    comes = action.action == "repair" and state.settled is None and _comes(state)
    if _is_stuck(state) or not (comes or action.action == "hand_over"):
        return action
    slow = _build_situation(state, narrow, [m for m in _list_able(state) if m.data.nights])
    best = find_best(slow) if slow.measurements else None
    if best is None or best[1] < NIGHT_BITS:
        return action
    return Action("measure", slow.minutes[best[0]], slow.measurements[best[0]], bits=best[1])


def _comes(state: _State) -> bool:
    """Return whether the complaint was said to come and go, by itself or with the weather."""
    return bool({"comes_and_goes", "seasonal"} & set(state.question.contexts))


def _name_repair(state: _State, action: Action | None) -> tuple[str, str] | None:
    return None if action is None or action.repair is None else state.classes[action.repair]


def _confirm(state: _State, situation: Situation) -> Action | None:
    """Return what is to be read before the repair that is settled: it was made before, may bend, or priors speak."""
    if state.settled is None:
        return None
    suspects = [state.bench.hypotheses[n] for n in state.kept]
    first = find_second_thought(situation) if state.settled in state.question.tried else None
    first = first or find_sight(situation)
    first = first or find_bracket(situation, suspects, state.bench.loop)
    first = first or find_held(situation, suspects)
    first = first or find_parting(situation, suspects, state.bench.loop)
    first = first or _find_direct(state, situation)
    if first is not None or any(len(some) > 1 for some in suspects):
        return first
    prior = build_prior(state.bench, state.question.contexts)
    return find_confirmation(situation, weigh_kinds(state.bench.hypotheses, prior)[state.kept])


def _find_direct(state: _State, situation: Situation) -> Action | None:
    """Return what is to be read where the repair is made, at a detector: nothing amiss was read or seen there."""
    suspects = [state.bench.hypotheses[n] for n in state.kept]
    if situation.settled is None or is_seen(situation, suspects) or is_shorted(situation, suspects):
        return None
    place = find_work_place(state.bench.loop, state.classes[situation.settled][1])
    if place == PANEL:
        return None
    own = state.kept[situation.classes == situation.settled]
    bench = state.bench.narrow(np.array([0, *own]))
    weight = state.belief.probability[own]
    return find_direct(situation, place, bench.forecast_all, weight / weight.sum())


def _forecast_some(bench: Bench, measurements: Sequence[Measurement], some: Index) -> Sequence[Forecast]:
    return bench.narrow(some).forecast_all(measurements)


def _part_measurements(measurements: Sequence[Measurement]) -> list[list[Measurement]]:
    """Part measurements into what is forecast together, in the order of what that costs: detector by detector last."""
    parts: dict[tuple[bool, str, str], list[Measurement]] = {}
    for m in measurements:
        parts.setdefault((bool(m.mode.detector), m.mode.word, m.kind), []).append(m)
    return [
        some[low : low + MOST_TOGETHER]
        for _, some in sorted(parts.items(), key=lambda part: part[0][0])
        for low in range(0, len(some), MOST_TOGETHER)
    ]


def _keep(probability: Array) -> Index:
    """Return the numbers of the hypotheses that carry nearly all of the probability, most probable first."""
    order = np.argsort(-probability, kind="stable")
    mass = np.cumsum(probability[order]) / probability.sum()
    return order[: min(int(np.searchsorted(mass, KEPT_MASS)) + 1, MOST_KEPT, order.size)]


def _find_settled(
    belief: Belief, repairs: Sequence[tuple[str, str]], contradiction: Contradiction | None
) -> tuple[str, str] | None:
    if contradiction is not None:
        return None
    weight = weigh_repairs(belief, repairs)
    leader = max(weight, key=lambda r: weight[r])
    return leader if weight[leader] >= SETTLED else None


def _build_situation(state: _State, narrow: Bench, offered: Sequence[Measurement]) -> Situation:
    """Put together all that a policy may look at: what was read is not offered again, but for a doubted reading."""
    question, some, names = state.question, state.kept_belief, state.classes
    again = _find_doubted(state)
    since = question.taken[find_split(question) :]  # a repair is reason enough to read again
    done = {t.measurement.set_up for t in since} - ({again.set_up} if again else set())
    fresh = tuple(m for m in offered if m.set_up not in done)
    forecasts = Lazily(len(fresh), lambda numbers: narrow.forecast_all([fresh[n] for n in numbers]))
    return Situation(
        some.probability,
        some.not_modelled,
        np.array([names.index(state.repairs[n]) for n in state.kept], dtype=np.intp),
        forecasts,
        Lazily(len(fresh), lambda numbers: [some.expect(forecasts[n]) for n in numbers]),
        tuple(m.find_minutes(question.standing_at) for m in fresh),
        tuple(_find_minutes(name) for name in names),
        None if state.settled is None else names.index(state.settled),
        again,
        read_catalogue().remedies["hand_over"].minutes,
        state.bench.meter,
        question.symptom,
        question.taken,
        fresh,
        _is_stuck(state),
    )


def _find_doubted(state: _State) -> Measurement | None:
    """Return the reading to take again: it is asked for once, and once more where the second is not as the first."""
    if state.contradiction is None:
        return None
    taken = state.question.taken
    doubted = taken[state.contradiction.reading].measurement
    again = next((m for m in list_measurements(state.bench.loop) if m.set_up == doubted.set_up), None)
    if again is None:  # it was told, and is none that is ever asked for
        return None
    offered = is_offered(again, state.question.can) and again.key not in state.question.skipped
    return again if offered and not state.contradiction.stands else None


def _is_stuck(state: _State) -> bool:
    """Return whether a reading fits nothing, is not to be taken again, and more readings did not mend it."""
    found = state.contradiction
    since = 0 if found is None else len(state.question.taken) - 1 - found.reading
    return since >= MOST_SINCE and _find_doubted(state) is None


def _find_minutes(repair_class: tuple[str, str]) -> float:
    remedies = read_catalogue().remedies
    return 0.0 if repair_class == NOTHING else sum(remedies[r].minutes for r in repair_class[0].split(" + "))


def _list_candidates(bench: Bench, belief: Belief, repairs: Sequence[tuple[str, str]]) -> tuple[Candidate, ...]:
    order = np.argsort(-belief.probability, kind="stable")
    return tuple(
        Candidate(bench.hypotheses[n], float(belief.probability[n]), repairs[n], *_learn_value(bench, belief, int(n)))
        for n in order
    )


def _learn_value(bench: Bench, belief: Belief, number: int) -> tuple[float | None, float | None]:
    """Return the ohms that readings make of a fault's own value: only where it is as wide as the catalogue says.

    Beside them one standard deviation of them, as a share.
    """
    some = bench.hypotheses[number]
    moved = float(belief.moved[number, -1])
    if len(some) != 1 or some[0].kind not in VALUED or some[0].value_ohm is None or not moved:
        return None, None
    share = read_catalogue().values.spread_share
    times, open_sd = max(1 + share * moved, LEAST_SHARE), math.sqrt(max(float(belief.open[number, -1, -1]), 0.0))
    return some[0].value_ohm * times, share * open_sd / times


def _tell_group(group: Group, narrow: Bench, more: list[Measurement], question: Question) -> SuspectGroup:
    """Return a group as data; ``more`` are the measurements beyond those at hand."""
    members = tuple(narrow.hypotheses[n] for n in group.members)
    split = _split(group, narrow, more, question.standing_at) if len(members) > 1 and more else None
    return SuspectGroup(members, group.probability, group.d_prime, split)


def _split(group: Group, narrow: Bench, more: list[Measurement], standing_at: str) -> Measurement | None:
    """Return the cheapest measurement beyond those at hand that would split a group."""
    inside = narrow.narrow(np.array(group.members))
    forecasts = Lazily(len(more), lambda numbers: inside.forecast_all([more[n] for n in numbers]))
    return find_splitter(more, forecasts, narrow.meter, [m.find_minutes(standing_at) for m in more])
