"""Why this step next, in trade words."""

from diagnostics.reasoning import NOTHING, Diagnosis, Expected

from .words import Words


def explain_next(d: Diagnosis, words: Words) -> str:
    """Return one or two sentences on the next action."""
    action = d.next
    if action is None:
        return words.repair(NOTHING)
    if action.action == "repair":
        sure = "" if d.settled else "No measurement at hand tells more; this repair is the likeliest cure. "
        return f"{sure}{words.repair(d.next_class or NOTHING)}"
    if action.action == "hand_over":
        return "Nothing that can be measured here tells more. Hand the case on with everything that was read."
    if action.again:
        return "The readings do not fit together, and this is the one to doubt: take it again, leads and mode checked."
    return explain_split(d, words)


def explain_split(d: Diagnosis, words: Words) -> str:
    """Say which suspects the measurement sets apart: the leader, and the first that would show something else."""
    if not d.expected:
        return "It tells most about the repair for the minutes it takes."
    first = d.expected[0]
    other = next((e for e in d.expected[1:] if _is_apart(first, e)), None)
    leader = words.faults(d.groups[first.group].members[0])
    if other is None:
        return f"It confirms or clears: {leader}."
    return f"It sets apart: {leader} - and {words.faults(d.groups[other.group].members[0])}."


def _is_apart(one: Expected, two: Expected) -> bool:
    if one.state is not None:
        return one.state != two.state
    if one.low is None or one.high is None or two.low is None or two.high is None:
        return False
    return one.high < two.low or two.high < one.low
