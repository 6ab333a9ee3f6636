"""What a finding guide may say, as pydantic models: steps, branches, ends (``trees/*.yaml``)."""

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

from diagnostics.faults import Context

Dialect = Literal["technician", "caller"]
Text = Annotated[str, Field(min_length=1, max_length=600)]
StepMode = Literal["standby", "during_reset"]
Name = Annotated[str, Field(pattern=r"^[a-z][a-z0-9_]{0,39}$")]
Goal = Annotated[str, Field(pattern=r"^[a-z][a-z0-9_]{0,39}(\.[a-z][a-z0-9_]{0,39})?$")]


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class TwoVoices(_Strict):
    """The same thing said to a technician, and to a caller."""

    technician: Text
    caller: Text

    def __str__(self) -> str:
        """Return the technician's words."""
        return self.technician


Say = Text | TwoVoices


class Branch(_Strict):
    """Where to go when the answer is one of ``when``: words, bands of this loop, or values with a unit."""

    when: Text | Annotated[tuple[Text, ...], Field(min_length=1)]
    go: Goal

    @property
    def conditions(self) -> tuple[str, ...]:
        """Return the conditions one by one; any of them will do."""
        return (self.when,) if isinstance(self.when, str) else self.when


class Step(_Strict):
    """One step: exactly one of ``measure``, ``ask``, ``do`` or ``known``.

    ``measure`` takes a reading (``at`` a place, or ``across`` a pair of terminals, in a ``mode``); ``ask`` puts a
    question that is no reading, with ``usual`` the answer of an ordinary day; ``do`` only says something; ``known``
    looks something up in the description. ``absent`` is where to go when this loop has no such point, ``cannot`` when
    the person cannot do it, ``otherwise`` when no branch fits.
    """

    measure: str | None = None
    at: str | None = None
    across: str | None = None
    mode: StepMode | None = None
    ask: Say | None = None
    usual: Text | None = None
    do: Say | None = None
    known: Literal["wiring"] | None = None
    say: Say | None = None
    notes: dict[Context, Text] = {}
    cautions: tuple[str, ...] = ()
    branches: tuple[Branch, ...] = ()
    otherwise: Goal | None = None
    cannot: Goal | None = None
    absent: Goal | None = None
    go: Goal | None = None

    @property
    def broken(self) -> tuple[str, ...]:
        """Return each rule that the keys of this step break together; none is there in a guide that was read."""
        given = [k for k in ("measure", "ask", "do", "known") if getattr(self, k) is not None]
        told = f"this has {' and '.join(given)}" if given else "this has none of them"
        rules = {
            f"a step is one of measure, ask, do or known; {told}": len(given) != 1,
            "a step that only says something needs 'go', where to go on": self.do is not None and self.go is None,
            "'go' belongs to a step with 'do'; answers need 'branches' or 'otherwise'": bool(given)
            and self.do is None
            and self.go is not None,
            "a step with an answer needs 'branches' or 'otherwise'": bool(given)
            and self.do is None
            and not self.branches
            and self.otherwise is None,
            "a question needs 'usual', the answer of an ordinary day; it is taken when proving": self.ask is not None
            and self.usual is None,
        }
        return tuple(rule for rule, is_broken in rules.items() if is_broken)

    @property
    def goals(self) -> tuple[str, ...]:
        """Return everywhere this step can lead."""
        ways = [b.go for b in self.branches] + [self.otherwise, self.cannot, self.absent, self.go]
        return tuple(dict.fromkeys(goal for goal in ways if goal is not None))


class End(_Strict):
    """Where a guide ends: the kinds of fault that are left, or ``stop`` where no fault of the loop is looked for."""

    suspects: tuple[str, ...] = ()
    say: Say
    stop: bool = False

    @property
    def broken(self) -> tuple[str, ...]:
        """Return the rule that this end breaks; none is there in a guide that was read."""
        is_whole = bool(self.suspects) != self.stop
        return () if is_whole else ("an end names 'suspects', or says 'stop: yes'; one of the two",)


class Part(_Strict):
    """A file of steps that several guides share; ``first`` is where it begins."""

    format: Literal["ohmward-guide-part/1"]
    about: Text
    first: Name
    steps: Annotated[dict[Name, Step], Field(min_length=1)]
    ends: dict[Name, End] = {}


class GuideFile(_Strict):
    """A file with one finding guide: a symptom, where it begins, its steps and ends, and the parts it uses."""

    format: Literal["ohmward-guide/1"]
    symptom: str
    title: Text
    about: Text
    uses: tuple[Name, ...] = ()
    first: Name
    steps: Annotated[dict[Name, Step], Field(min_length=1)]
    ends: dict[Name, End] = {}
