"""What is asked of the reasoning, and what it answers, as data."""

from dataclasses import dataclass, field, replace

from diagnostics.faults import Context
from diagnostics.readings import Faults, Measurement

from .belief import Taken
from .choose import Action

NOTHING = ("nothing", "nowhere")


@dataclass(frozen=True, slots=True)
class Question:
    """What is asked of the reasoning: context, symptom, readings in order, tools at hand, where one stands.

    ``tried`` are repair classes that were carried out and did not cure it; ``tried_after`` is how many of the readings
    were taken before the last of them, None for all; ``symptom_after`` is what is complained of since then, None for
    the same as before. ``skipped`` are keys of measurements that
    this person cannot or will not do. ``baseline`` are readings of the sound loop from an earlier visit.
    ``one_fault`` lets no two faults at once in, whatever was read.
    """

    contexts: tuple[Context, ...] = ()
    symptom: str | None = None
    taken: tuple[Taken, ...] = ()
    can: frozenset[str] | None = None
    standing_at: str = "panel"
    tried: tuple[tuple[str, str], ...] = ()
    tried_after: int | None = None
    symptom_after: str | None = None
    skipped: frozenset[str] = frozenset()
    baseline: tuple[Taken, ...] = ()
    one_fault: bool = False

    def go_on(self, repair: tuple[str, str], complaint: str | None = None) -> "Question":
        """Return what is asked after a repair that did not cure: one is back at the panel, and nothing is forgotten.

        ``complaint`` is what is complained of since; None where nobody says.
        """
        was = self.symptom_after or self.symptom
        since = None if complaint in {None, was} else complaint
        tried, count = (*self.tried, repair), len(self.taken)
        return replace(
            self, symptom=was, symptom_after=since, tried=tried, tried_after=count, standing_at="panel"
        )  # fmt: skip


@dataclass(frozen=True, slots=True)
class Candidate:
    """One hypothesis with its probability; an empty tuple of faults is *healthy*.

    ``value_ohm`` is what the readings make of a single fault's own ohms; None where it has none, or none was learnt.
    ``value_share`` is one standard deviation of them, as a share.
    """

    faults: Faults
    probability: float
    repair_class: tuple[str, str]
    value_ohm: float | None = None
    value_share: float | None = None


@dataclass(frozen=True, slots=True)
class SuspectGroup:
    """Hypotheses that no available measurement tells apart; ``split_by`` would, if one had the means."""

    members: tuple[Faults, ...]
    probability: float
    d_prime: float
    split_by: Measurement | None


@dataclass(frozen=True, slots=True)
class Expected:
    """What the next measurement would show under a group: a range (V or Ω, ``math.inf`` for OL) or a word."""

    group: int
    low: float | None = None
    high: float | None = None
    unit: str = ""
    state: str | None = None

    def is_apart(self, other: "Expected") -> bool:
        """Return whether two answers cannot be taken for one another: other words, or ranges that do not meet."""
        if self.low is None or self.high is None or other.low is None or other.high is None:
            return self.state != other.state
        return self.high < other.low or other.high < self.low


@dataclass(frozen=True, slots=True)
class Contradiction:
    """Readings that do not fit together, and the one which, left out, mends it (its number in the order taken).

    It ``stands`` where that one was taken again and is the same, or was taken three times. It is ``unseen`` where all
    else points to what nearly everyone who looks would find there, and that one is a look that found nothing.
    """

    reading: int
    fit: float
    stands: bool = False
    unseen: bool = False


@dataclass(frozen=True, slots=True)
class Diagnosis:
    """The whole answer; ``candidates`` most probable first, ``settled`` is the repair class when it is settled."""

    candidates: tuple[Candidate, ...]
    not_modelled: float
    groups: tuple[SuspectGroup, ...]
    settled: tuple[str, str] | None
    contradiction: Contradiction | None
    next: Action | None
    next_class: tuple[str, str] | None
    expected: tuple[Expected, ...] = field(default=())
