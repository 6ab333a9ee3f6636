"""The quick description: a handful of answers give a whole site, and what nobody knows stays wide."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

from diagnostics.errors import QuantityError, SourceError, join_hint, quote
from diagnostics.source import Tree
from diagnostics.units import format_quantity, parse_gauge, parse_quantity, parse_resistor

from .parts import read_parts
from .site import DETECTORS, Site, Style, parse_site_data

NOT_SURE = "not sure"
SYSTEMS = ("24 V", "12 V")
_TYPED = ("detectors", "panel_resistor", "end_resistor", "cable", "run", "name")  # the answers that are no choice
# Spreads (one sd, percent) for an answer that was "not sure"; invented, wide on purpose.
UNSURE_RESISTOR_PERCENT = 30.0
UNSURE_LENGTH_PERCENT = 60.0
GUESSED_LENGTH_PERCENT = 15.0
TYPICAL_RESISTOR_OHM = 4700.0
# What is asked about once more: beyond these hardly anything is wired (common practice, no source; wide on purpose).
USUAL_OHM, USUAL_RUN_M, USUAL_MM2 = (500.0, 50e3), (0.3, 300.0), (0.12, 6.0)
TYPICAL_RUN_M = 10.0
_RESET_ASSUMED = "How the detectors are reset is not known: a relay contact in their supply is assumed; look for it."
_RELAY_ASSUMED = "Whether a supervision relay sits at the end is not known: one is assumed; look at the last detector."
_EARLIER = "Whether a supervision relay sits at the end is not known: one is assumed; look for it at the last detector."
# The lines of a site's note that name a part which nobody has seen; the last one stands in cases of earlier programs.
ASSUMED = frozenset({_RESET_ASSUMED, _RELAY_ASSUMED, _EARLIER})


@dataclass(frozen=True, slots=True)
class QuickDescription:
    """Answers as typed, eight at most for any style; every one but the first two may be ``not sure``.

    ``system`` is *24 V* or *12 V*, and generic parts are made for it. ``panel_resistor`` only counts for a module,
    whose own loop has an end resistor of another value; ``end_relay`` only for loops with a power pair. ``order`` is
    *known* or *unknown*: whether anybody knows which detector follows which.
    """

    style: str
    detectors: str
    end_resistor: str = NOT_SURE
    cable: str = NOT_SURE
    run: str = NOT_SURE
    reset: str = NOT_SURE
    end_relay: str = NOT_SURE
    panel_resistor: str = NOT_SURE
    order: str = "known"
    name: str = "Quick description"
    system: str = NOT_SURE


def _is_unsure(text: str) -> bool:
    return text.strip().lower() in {"", NOT_SURE, "?", "unknown"}


def find_wrong_answers(answers: QuickDescription) -> dict[str, str]:
    """Return what is wrong with each answer that is typed, by the name of its field; each is looked at by itself."""
    bare = QuickDescription(answers.style, "1")
    given = {name: str(getattr(answers, name)) for name in _TYPED if str(getattr(answers, name)).strip()}
    found = ((name, _find_wrong(replace(bare, **{name: text}))) for name, text in given.items())
    return {name: message for name, message in found if message}


def find_unusual_answers(answers: QuickDescription) -> frozenset[str]:
    """Return the fields whose answers can be, but hardly are: a slip of units or of a digit, more likely."""
    usual = {"end_resistor": USUAL_OHM, "panel_resistor": USUAL_OHM, "cable": USUAL_MM2, "run": USUAL_RUN_M}
    return frozenset(name for name, (low, high) in usual.items() if not low <= _read_size(answers, name, low) <= high)


def _read_size(answers: QuickDescription, name: str, usual: float) -> float:
    """Return an answer in ohm, mm² or m; what is usual for one that is not known or that cannot be read."""
    text = str(getattr(answers, name))
    if _is_unsure(text):
        return usual
    try:
        if name == "cable":
            return parse_gauge(text).area_mm2
        return parse_quantity(text, "m") if name == "run" else parse_resistor(text)
    except QuantityError:
        return usual


def _find_wrong(answers: QuickDescription) -> str:
    """Return what is wrong with answers, without the name that the field has in a site file; empty: nothing."""
    try:
        build_quick_site(answers)
    except QuantityError as error:
        return join_hint(error.message, error.hint)
    except SourceError as error:
        first = error.findings[0].message
        return first.partition(": ")[2] or first
    return ""


def build_quick_site(answers: QuickDescription) -> tuple[Site, tuple[str, ...]]:
    """Return the site of a few answers, and a sentence for each thing that had to be assumed.

    Raises
    ------
    QuantityError
        An answer is not a resistor, a gauge, a length, or yes or no.
    SourceError
        The answers do not make a site (no such style, too many detectors, …).
    """
    notes: list[str] = []
    end = _resistor(answers.end_resistor, notes)
    loop: dict[str, Tree] = {"zone": "zone1", "style": answers.style, "count": answers.detectors.strip()}
    loop |= {"end_resistor": {**end}, "cable": _cable(answers, notes)}
    if answers.order != "known":
        loop["order"] = answers.order
        notes.append("The order of the detectors is not known: they are counted from the panel, and found on the way.")
    zones: dict[str, Tree] = {"zone1": {"senses": "fire", "end_resistor": end["resistance"]}}
    if answers.style in {str(style) for style in Style if style.has_supply}:
        loop |= _supply(answers, notes)
    if answers.style.startswith("module"):
        right = _resistor(answers.panel_resistor, notes, "The panel's resistor")["resistance"]
        zones = {"zone1": {"senses": "fire", "end_resistor": right}, "zone2": {"senses": "co", "end_resistor": right}}
        loop["co_zone"] = "zone2"
        notes.append(
            "Fire on zone 1, CO on zone 2 and smoke detectors throughout are assumed; a site file can say more."
        )
    data: dict[str, Tree] = {"format": "ohmward-site/1", "name": answers.name, "zones": zones, "loops": [loop]}
    if _is_12v(answers.system) and answers.style in DETECTORS:
        data["panel"] = {"profile": "panel_12v"}
        loop |= _list_12v(loop)
    return parse_site_data(data, "description"), tuple(notes)


def _is_12v(system: str) -> bool:
    if not _is_unsure(system) and system not in SYSTEMS:
        message = f"{quote(system)} is no system that a panel works with"
        raise QuantityError(message, text=system, unit="V", hint=f"write {' or '.join(SYSTEMS)}")
    return system == "12 V"


def _list_12v(loop: Mapping[str, Tree]) -> dict[str, Tree]:
    """Return the parts of a loop by their names in a site file, each of those made for 12 V where its volts matter."""
    style = Style(str(loop["style"]))
    parts = {"each": DETECTORS[style][1]}
    parts |= {"reset_relay": "relay"} if style.has_supply else {}
    parts |= {"module": "interface_module"} if style.is_module else {}
    parts |= {"end_relay": "supervision_relay"} if "end_relay" in loop else {}
    known = read_parts().profiles
    return {name: {"profile": f"{part}_12v"} for name, part in parts.items() if f"{part}_12v" in known}


def _resistor(text: str, notes: list[str], name: str = "End resistor") -> dict[str, str]:
    if _is_unsure(text):
        notes.append(
            f"{name} not known: {format_quantity(TYPICAL_RESISTOR_OHM, 'ohm')} ± {UNSURE_RESISTOR_PERCENT:g} % is used."
        )
        return {"resistance": f"{TYPICAL_RESISTOR_OHM:g}", "spread": f"{UNSURE_RESISTOR_PERCENT:g}"}
    return {"resistance": repr(parse_resistor(text))}


def _cable(answers: QuickDescription, notes: list[str]) -> dict[str, Tree]:
    gauge, run_m, percent = "18 AWG", TYPICAL_RUN_M, GUESSED_LENGTH_PERCENT
    if _is_unsure(answers.cable):
        percent = UNSURE_LENGTH_PERCENT
        notes.append(f"Cable not known: {gauge} is used, with wide limits.")
    else:
        gauge = answers.cable
        parse_gauge(gauge)
    if _is_unsure(answers.run):
        percent = UNSURE_LENGTH_PERCENT
        notes.append(f"Length not known: {run_m:g} m between neighbours ± {percent:g} % is used.")
    else:
        run_m = parse_quantity(answers.run, "m")
    return {"gauge": gauge, "run": f"{run_m!r} m", "values": {"length_spread": f"{percent:g} %"}}


def _supply(answers: QuickDescription, notes: list[str]) -> dict[str, Tree]:
    found: dict[str, Tree] = {"reset": answers.reset}
    if _is_unsure(answers.reset):
        found["reset"] = "relay"
        notes.append(_RESET_ASSUMED)
    if answers.style == "module_two_wire":
        return found
    if _is_unsure(answers.end_relay):
        notes.append(_RELAY_ASSUMED)
    if _has_end_relay(answers.end_relay):
        found["end_relay"] = {"profile": "supervision_relay"}
    return found


def _has_end_relay(text: str) -> bool:
    word = text.strip().lower()
    if word not in {"yes", "no"} and not _is_unsure(text):
        message = f"{quote(text)} does not say whether there is a supervision relay at the end"
        raise QuantityError(message, text=text, unit="a word", hint=f"write yes, no or {NOT_SURE}")
    return word != "no"
