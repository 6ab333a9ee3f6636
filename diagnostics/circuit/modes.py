"""Modes: named sequences of actions, each starting from the states that the last one left."""

import re
from dataclasses import dataclass

from diagnostics.errors import FaultError, QuantityError, find_nearest
from diagnostics.units import format_short, parse_resistor
from diagnostics.wiring import Edits, Loop, SetResistance

from .settle import Step

_WORDS = (
    "standby", "alarm", "during_reset", "after_reset", "lifted", "lifted_supply_on", "head_off", "known_resistor",
    "on_battery", "opened", "pair_lifted", "return_lifted", "cut_off",
)  # fmt: skip
_AT_DETECTOR = ("alarm", "after_reset", "head_off", "opened", "cut_off")


@dataclass(frozen=True, slots=True)
class Mode:
    """A mode of the loop, as written (``alarm:det3``); ``detector`` and ``resistance_ohm`` where it has them.

    *Opened* at a detector, what goes on from it is taken off its terminals. Where one pair alone is lifted at the
    panel, supply left on, ``detector`` is that pair: a zone, or the run by which the detectors or the module are fed.
    *Return lifted*, a class A loop is fed from one end only, as if it were class B. *Cut off* at a detector is both:
    what goes on from it hangs on nothing.
    """

    word: str
    detector: str = ""
    resistance_ohm: float | None = None

    @property
    def text(self) -> str:
        """Return the mode as people write it."""
        if self.detector:
            return f"{self.word}:{self.detector}"
        if self.resistance_ohm is not None:
            return f"{self.word}:{format_short(self.resistance_ohm)}"
        return self.word

    @property
    def is_powered_down(self) -> bool:
        """Return whether panel and battery are off, so that ohms may be measured."""
        return self.word == "lifted"


STANDBY = Mode("standby")


def list_mode_words(loop: Loop) -> tuple[str, ...]:
    """Return every mode that this loop can be in, written out."""
    names = [d.name for d in loop.detectors]
    plain = [w for w in _WORDS if w not in {*_AT_DETECTOR, "known_resistor", "pair_lifted"}]
    if not loop.relays:
        plain.remove("lifted_supply_on")
    if not _list_returns(loop):
        plain.remove("return_lifted")
    heads = [d.name for d in loop.detectors if not d.is_contact]
    going_on = [n for n in names if f"{n}.opened" in loop.signals]
    back = [n for n in going_on if _find_return(n, loop)]
    able = {"head_off": heads, "opened": going_on, "cut_off": back}
    at = [f"{w}:{n}" for w in _AT_DETECTOR for n in able.get(w, names)]
    return (*plain, "known_resistor:RESISTANCE", *at, *(f"pair_lifted:{pair}" for pair in list_liftable(loop)))


def _list_returns(loop: Loop) -> list[str]:
    """Return the signals by which the return wires of class A zones are lifted."""
    return [s for s in loop.signals if s.endswith(".return_lifted")]


def _find_return(name: str, loop: Loop) -> str:
    """Return the signal by which the return wires of a detector's own loop are lifted, or an empty text."""
    chain = loop.find_chain(name)
    return f"{chain.spec.zone}.return_lifted" if chain is not None and chain.back else ""


def list_liftable(loop: Loop) -> tuple[str, ...]:
    """Return the pairs that can be lifted at the panel one by one: zones that are wired, and runs fed there."""
    used = {zone for chain in loop.chains for zone in (chain.spec.zone, chain.spec.co_zone)}
    zones = [zone.name for zone in loop.zones if zone.name in used]
    fed = (s.removesuffix(".unfed") for s in loop.signals if s.endswith(".unfed"))
    inside = loop.module_chain.first.name if loop.module_chain else ""  # it is the module that feeds these
    return (*zones, *(run for run in fed if run != f"{inside}.in_power"))


def parse_mode(text: str, loop: Loop) -> Mode:
    """Return the mode that a text names.

    Raises
    ------
    FaultError
        No such mode, or no such detector in this loop.
    """
    found = re.fullmatch(r"([a-z_]+)(?::(.+))?", text.strip())
    word, rest = (found[1], found[2] or "") if found else ("", "")
    if word not in _WORDS:
        near = find_nearest(word, _WORDS)
        raise FaultError(
            f"no mode {text!r}", text=text, hint=f"did you mean {near!r}?" if near else f"modes: {', '.join(_WORDS)}"
        )
    if word in _AT_DETECTOR:
        return _parse_at_detector(word, rest, text, loop)
    if word == "known_resistor":
        return Mode(word, resistance_ohm=_parse_known(rest, text))
    if word == "pair_lifted":
        return Mode(word, _parse_pair(rest, text, loop))
    if word == "return_lifted" and not _list_returns(loop):
        raise FaultError("nothing comes back to this panel", text=text, hint="only a class A loop has return wires")
    if rest:
        raise FaultError(f"mode {word} takes nothing after it", text=text, hint=f"write {word}")
    return Mode(word)


def _parse_at_detector(word: str, rest: str, text: str, loop: Loop) -> Mode:
    if loop.find_detector(rest) is None:
        names = f"{loop.detectors[0].name} to {loop.detectors[-1].name}"
        hint = f"write {word}: and one of {names}"
        raise FaultError(f"mode {word} needs a detector of this loop", text=text, hint=hint)
    if word == "cut_off" and not _find_return(rest, loop):
        raise FaultError("nothing comes back from there to this panel", text=text, hint=f"write opened:{rest}")
    if word in {"opened", "cut_off"} and f"{rest}.opened" not in loop.signals:
        raise FaultError(f"no cable goes on from {rest}", text=text, hint="open it at the detector before")
    return Mode(word, rest)


def _parse_known(rest: str, text: str) -> float:
    try:
        return parse_resistor(rest)
    except QuantityError as error:
        raise FaultError(
            f"mode known_resistor needs a resistor: {error}", text=text, hint="write known_resistor:4k7"
        ) from error


def _parse_pair(rest: str, text: str, loop: Loop) -> str:
    known = list_liftable(loop)
    if rest not in known:
        raise FaultError("mode pair_lifted needs a pair of this panel", text=text, hint=f"one of {', '.join(known)}")
    return rest


def build_steps(mode: Mode, loop: Loop) -> tuple[Step, ...]:
    """Return the actions that lead from standby into a mode."""
    smoke = f"{mode.detector}.smoke"
    zones = [z.name for z in loop.zones]
    lifted = {f"{zone}.lifted": True for zone in zones} | ({"module.lifted": True} if loop.module else {})
    known = {f"{zone}.{s}": True for zone in zones for s in ("lifted", "known")}
    reset: tuple[Step, ...] = ({"panel.reset": True}, {"panel.reset": False})
    steps: dict[str, tuple[Step, ...]] = {
        "alarm": ({smoke: True},),
        "during_reset": ({"panel.reset": True},),
        "after_reset": ({smoke: True}, {smoke: False}, *reset),
        "lifted": ({"panel.down": True, **lifted},),
        "lifted_supply_on": (lifted,),
        "head_off": ({f"{mode.detector}.head_off": True},),
        "known_resistor": (known, *reset),
        "on_battery": ({"panel.on_battery": True},),
        "return_lifted": (dict.fromkeys(_list_returns(loop), True),),
        "opened": (build_opening(mode, loop),),
        "cut_off": (build_opening(mode, loop),),
        "pair_lifted": ({f"{mode.detector}.{'lifted' if mode.detector in zones else 'unfed'}": True},),
    }
    return steps.get(mode.word, ())


def build_opening(mode: Mode, loop: Loop) -> dict[str, bool]:
    """Return what is off its terminals where cable is opened, and for *cut off* the return wires of that loop too."""
    back = {_find_return(mode.detector, loop): True} if mode.word == "cut_off" else {}
    return {f"{mode.detector}.opened": True, **back}


def build_mode_edits(mode: Mode, loop: Loop) -> Edits:
    """Return the edits that a mode brings with it: the known resistor has a value of its own."""
    if mode.resistance_ohm is None:
        return ()
    return tuple(SetResistance(f"known.{zone.name}", mode.resistance_ohm) for zone in loop.zones)
