"""One vocabulary of edits: everything that a fault does to a loop is a list of these."""

from dataclasses import dataclass

from .elements import Element


@dataclass(frozen=True, slots=True)
class SetResistance:
    """Give an element another resistance (ohm); ``share`` is its own uncertainty (one sd, a fraction)."""

    element: str
    resistance_ohm: float
    share: float = 0.0


@dataclass(frozen=True, slots=True)
class Remove:
    """Take an element out."""

    element: str


@dataclass(frozen=True, slots=True)
class Add:
    """Put an element in; ``share`` is the uncertainty of its own value (one sd, a fraction)."""

    element: Element
    share: float = 0.0


@dataclass(frozen=True, slots=True)
class Move:
    """Land one end (``a`` or ``b``) of an element on another terminal."""

    element: str
    end: str
    terminal: str


@dataclass(frozen=True, slots=True)
class Hold:
    """Keep a signal at a value, whatever the circuit does (a dead relay, a head that is off)."""

    signal: str
    value: bool


Edit = SetResistance | Remove | Add | Move | Hold
Edits = tuple[Edit, ...]
