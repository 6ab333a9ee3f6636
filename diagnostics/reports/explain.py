"""Why this step next, in trade words."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from diagnostics.faults import read_catalogue
from diagnostics.readings import Faults, read_table
from diagnostics.reasoning import LEADING, LOOKS, NOTHING, Action, Candidate, Diagnosis, Expected
from diagnostics.wiring import Loop

from .shares import UNPLACED, find_position, is_sought, merge_sought, put_value
from .words import Words, format_percent, say

MOST_EXPECTED = 8
MOST_ALIKE = 2  # causes of one kind that are named for one answer; of more, the first, and how many they are
MOST_SUSPECTS = 5
MOST_NAMED = 8  # of a group, one by one


def explain_next(d: Diagnosis, words: Words) -> str:
    """Return one or two sentences on the next action."""
    action = d.next
    if action is None:
        return words.repair(NOTHING)
    if action.action == "repair":
        return " ".join(text for text in (explain_unsure(d), words.repair(d.next_class or NOTHING)) if text)
    if action.action == "hand_over":
        return say("measured_out" if d.contradiction is None else "stands_hand_over")
    if action.again and d.contradiction is not None and d.contradiction.unseen:
        return say("looks_again", leader=name_likeliest(d, words))
    if action.again:
        return "The readings do not fit together, and this is the one to doubt: take it again, leads and mode checked."
    return explain_split(d, words)


def explain_unsure(d: Diagnosis) -> str:
    """Return why a repair is proposed that is not sure; empty for one that is settled."""
    if d.settled is not None:
        return ""
    return say("stands_likely" if _stands(d) else "likely_why")


def _stands(d: Diagnosis) -> bool:
    """Return whether a reading fits nothing although it was taken again."""
    return d.contradiction is not None and d.contradiction.stands


def name_likeliest(d: Diagnosis, words: Words) -> str:
    """Return the likeliest of all candidates by name."""
    return words.faults(put_value(d, d.candidates[0].faults))


def explain_shorter(action: Action) -> tuple[str, str] | None:
    """Return how many times as much the shorter step tells for each minute (``3``), and its minutes; None: no such."""
    own = action.instead
    if own is None or own.measurement is None:
        return None
    ratio = (own.bits / own.minutes) / max(action.bits / action.minutes, 1e-9)
    return (f"{min(ratio, 99):.1f}" if ratio < 3 else f"{min(ratio, 99):.0f}"), f"{own.minutes:.0f}"


def explain_split(d: Diagnosis, words: Words) -> str:
    """Say which suspects the measurement sets apart: the leader, and the first that would show something else."""
    if not d.expected:
        return "It tells most about the repair for the minutes it takes."
    first = d.expected[0]
    told = [e for e in d.expected[1:] if e.group < LEADING]
    other = next((e for e in told if first.is_apart(e)), None)
    leader = _name_leader(d, first.group, words)
    asked = d.next.measurement if d.next is not None and not d.next.bits else None  # not for what it tells
    if asked is not None and asked.kind in LOOKS:
        return say("looks_first", leader=leader)
    if asked is not None and other is None:
        return say("parts_panel_and_field", leader=leader)
    if other is None and any(_name_leader(d, e.group, words) != leader for e in told):
        return say("looks_beside")
    if other is None:
        return f"It confirms or clears: {leader}."
    return f"It sets apart: {leader} - and {_name_leader(d, other.group, words)}."


@dataclass(slots=True)
class _Answer:
    """Answers that are told as one: words, or a range that most of each lies in, and the leaders of its groups."""

    state: str | None
    low: float
    high: float
    groups: list[int]


def list_expected(d: Diagnosis, words: Words) -> tuple[tuple[str, str], ...]:
    """Return what the next measurement would show, and under which suspects; answers that are alike stand once."""
    m = d.next.measurement if d.next else None
    answers: list[_Answer] = []
    for e in d.expected:
        known = next((a for a in answers if _is_alike(a, e)), None)
        if known is None:
            known = _Answer(e.state, e.low or 0.0, e.high or 0.0, [])
            answers.append(known)
        known.low, known.high = min(known.low, e.low or 0.0), max(known.high, e.high or 0.0)
        known.groups.append(e.group)
    lines: dict[str, list[int]] = {}
    for a in sorted(answers[:MOST_EXPECTED], key=lambda a: a.low):  # words stay as they are, likeliest first
        shown = words.value(m, a.state) if m is not None and a.state is not None else _tell_range(a, d, words)
        lines.setdefault(shown, []).extend(a.groups)
    return tuple((shown, _name_causes(d, groups, words)) for shown, groups in lines.items())


def _is_alike(answer: _Answer, e: Expected) -> bool:
    """Return whether an answer is told with one before: the same words, or a range half of which they share."""
    if e.low is None or e.high is None or answer.state is not None:
        return answer.state is not None and answer.state == e.state
    low, high = max(answer.low, e.low), min(answer.high, e.high)
    widths = [width for width in (answer.high - answer.low, e.high - e.low) if math.isfinite(width)]
    return low <= high and (not widths or high - low >= 0.5 * min(widths))


def _tell_range(answer: _Answer, d: Diagnosis, words: Words) -> str:
    low, high = answer.low, answer.high
    unit = next(e.unit for e in d.expected if e.group in answer.groups)
    if unit == "ohm":
        over = read_table().meter.ohms_over
        low, high = (math.inf if v >= over else max(v, 0.0) for v in (low, high))
    elif max(abs(low), abs(high)) < read_table().ghost.dead_v:
        return say("no_volts")
    return words.range(low, high, unit)


def _name_causes(d: Diagnosis, groups: Sequence[int], words: Words) -> str:
    """Return the leaders of some groups by name; of many of one kind the first, and how many they are."""
    leaders = [(put_faults_first(d.groups[group].members)[0], _name_leader(d, group, words)) for group in groups]
    return " / ".join(_tell_by_kind(leaders))


def _tell_by_kind(some: Iterable[tuple[Faults, str]]) -> tuple[str, ...]:
    """Return faults by name, each once; of many of one kind the first, and how many they are."""
    kinds: dict[tuple[str, ...], list[str]] = {}
    for faults, name in some:
        kinds.setdefault(tuple(fault.kind for fault in faults), []).append(name)
    told: list[str] = []
    for every in kinds.values():
        names = list(dict.fromkeys(every))
        more = len(names) - 1
        told += names if len(names) <= MOST_ALIKE else [say("alike", first=names[0], count=str(more))]
    return tuple(told)


def list_suspects(d: Diagnosis, words: Words) -> tuple[tuple[str, str], ...]:
    """Return percentage and words of the leading groups, and of what the model does not know."""
    rows = []
    for probability, members in merge_sought(d)[:MOST_SUSPECTS]:
        first, *others = _name_members(d, members, words)
        more = f" - {_tell_others(others)}" if others else ""
        rows.append((format_percent(probability), f"{first}{more}"))
    return (*rows, (format_percent(d.not_modelled), say("not_modelled")))


def _name_members(d: Diagnosis, members: Sequence[Faults], words: Words) -> tuple[str, ...]:
    """Return the members of a group by name; faults in detectors that have to be found are named once a kind.

    So is what may be in either conductor of a run.
    """
    either = [_find_run(member, members, words.loop) for member in put_faults_first(members)]
    return tuple(dict.fromkeys(_name_member(d, member, members, words) for member in either))


def put_faults_first(members: Sequence[Faults]) -> list[Faults]:
    """Return the members of a group with *nothing wrong* last: what cannot be told from a fault is no all-clear."""
    return sorted(members, key=lambda member: not member)


def _find_run(member: Faults, members: Sequence[Faults], loop: Loop) -> Faults:
    """Return a single fault of a conductor as one of its pair where the other conductor's is in the group as well."""
    if len(member) != 1 or member[0].data.family != "conductor":
        return member
    (fault,) = member
    pair = next((name for name, cores in loop.pairs.items() if f"wire.{fault.place}" in cores), "")
    places = [core.removeprefix("wire.") for core in loop.pairs.get(pair, ())]
    both = pair and all((replace(fault, place=place),) in members for place in places)
    return (replace(fault, place=pair),) if both else member


def _name_member(d: Diagnosis, member: Faults, members: Sequence[Faults], words: Words) -> str:
    """Return one member of a group by name; without a place where others of its kind are in it: nobody knows which."""
    if not is_sought(member) or find_position(d):
        return words.faults(put_value(d, member))
    places = {other[0].place for other in members if is_sought(other) and other[0].kind == member[0].kind}
    return words.faults((replace(member[0], place=UNPLACED),) if len(places) > 1 else member)


def _name_leader(d: Diagnosis, number: int, words: Words) -> str:
    """Return the first of a group by name, as the list of suspects has it; by its place where a step is at one."""
    leader = put_faults_first(d.groups[number].members)[0]
    m = d.next.measurement if d.next else None
    if m is not None and words.loop.find_detector(m.place):
        return words.faults(put_value(d, leader))
    row = next((members for _, members in merge_sought(d) if leader in members), (leader,))
    return _name_member(d, leader, row, words)


def _tell_others(others: list[str]) -> str:
    """Return the one other that nothing tells apart from the first, by name, or how many they are."""
    return say("not_apart_one", other=others[0]) if len(others) == 1 else say("not_apart", count=str(len(others)))


def list_not_apart(d: Diagnosis, words: Words) -> tuple[tuple[str, ...], ...]:
    """Return, by name, the leading groups that are only counted among the suspects: three members and more.

    Where they are more than a screen holds, those of one kind are told as one.
    """
    groups = [members for _, members in merge_sought(d)[:MOST_SUSPECTS]]
    named = [(members, _name_members(d, members, words)) for members in groups]
    return tuple(_shorten(d, members, names, words) for members, names in named if len(names) > 2)


def _shorten(d: Diagnosis, members: Sequence[Faults], names: tuple[str, ...], words: Words) -> tuple[str, ...]:
    if len(names) <= MOST_NAMED:
        return names
    either = [_find_run(member, members, words.loop) for member in put_faults_first(members)]
    return _tell_by_kind((member, _name_member(d, member, members, words)) for member in either)


def tell_certainty(d: Diagnosis, repair: tuple[str, str]) -> str:
    """Return how probable it is that this repair cures, in percent."""
    return format_percent(sum(c.probability for c in d.candidates if _mends(repair, c)))


def _mends(repair: tuple[str, str], candidate: Candidate) -> bool:
    """Return whether a repair mends a candidate, or one of its two faults."""
    return candidate.repair_class == repair or any(f.repair_class == repair for f in candidate.faults)


def list_parts(repair: tuple[str, str]) -> tuple[str, ...]:
    """Return the parts to carry for a repair."""
    remedies = read_catalogue().remedies
    return tuple(dict.fromkeys(part for name in repair[0].split(" + ") for part in remedies[name].parts))
