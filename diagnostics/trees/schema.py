"""What a finding guide may say, as pydantic models: steps, branches, ends (``trees/*.yaml``)."""

from typing import Annotated, Literal, Self

from pydantic import BaseModel, ConfigDict, Field, model_validator

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

    @model_validator(mode="after")
    def _check_kind(self) -> Self:
        given = [k for k in ("measure", "ask", "do", "known") if getattr(self, k) is not None]
        if len(given) != 1:
            found = f"this has {' and '.join(given)}" if given else "this has none of them"
            raise ValueError(f"a step is one of measure, ask, do or known; {found}")
        if self.do is not None and self.go is None:
            raise ValueError("a step that only says something needs 'go', where to go on")
        if self.do is None and self.go is not None:
            raise ValueError("'go' belongs to a step with 'do'; answers need 'branches' or 'otherwise'")
        if self.do is None and not self.branches and self.otherwise is None:
            raise ValueError("a step with an answer needs 'branches' or 'otherwise'")
        if self.ask is not None and self.usual is None:
            raise ValueError("a question needs 'usual', the answer of an ordinary day; it is taken when proving")
        return self

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

    @model_validator(mode="after")
    def _check_content(self) -> Self:
        if bool(self.suspects) == self.stop:
            raise ValueError("an end names 'suspects', or says 'stop: yes'; one of the two")
        return self


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
