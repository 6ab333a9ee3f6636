"""What a meter shows of what a repair takes out of the drawn world: a resistor, a conductor, a length of cable.

The parts of a run are taken out of the circuit with all that sits in it, whatever that is, and measured with both their
ends free: along a conductor, between the two of a pair, or from one to earth. No slip is among these readings: who
measures what he holds in his hand can do it twice.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from .answers import find_label
from .draws import build_leak
from .line import Row
from .meter import build_diode_source, build_test_source, find_diode_v, find_shown_ohm, show_display
from .outside import STRANGE
from .solver import EARTH, solve_parts
from .world import World, build_world

_INSULATION_OHM = 1e13  # of every terminal of a part that lies on a bench, so that none of them floats; invented
_LIVE_V = 0.1  # from here on a person writes down volts and takes no ohms; invented
_INNER = ("middle.", "cut.")  # terminals half-way along a run


@dataclass(frozen=True, slots=True)
class Out:
    """What a person writes down of what came out: ohms one way and with the leads turned, or the volts of its own.

    ``diode`` is the lower of what the meter's diode range shows either way.
    """

    one: str
    turned: str = ""
    diode: str = ""


@dataclass(frozen=True, slots=True)
class Piece:
    """Parts that were taken out, and the two of their ends that the leads go on."""

    parts: tuple[Row, ...]
    red: str
    black: str


def measure_out(world: World, way: str, places: Sequence[str]) -> Out:
    """Return what is written down of the worst of some pieces: volts of its own first, then what is most off.

    Along a conductor and across a resistor that is the most ohms, between conductors or to earth the fewest. ``way``
    is one of *across*, *along*, *between*, *to_earth*; ``places`` are those of faults.
    """
    pieces = [(place, _take_out(world, way, place)) for place in places]
    live = [(abs(_read_volts(world, piece)), place, piece) for place, piece in pieces]
    worst_v, place, piece = max(live, key=lambda each: each[0])
    if worst_v >= _LIVE_V:
        return Out(show_display(world, _read_volts(world, piece), "V", f"out {place}"))
    shown = [(*_read_both(world, piece), place, piece) for place, piece in pieces]
    most = way in ("across", "along")
    one, turned, place, piece = max(shown, key=lambda each: (1 if most else -1) * (max if most else min)(each[:2]))
    return Out(
        show_display(world, one, "ohm", f"out {place} 0"),
        show_display(world, turned, "ohm", f"out {place} 1"),
        show_display(world, read_diode(world, piece), "V", f"out {place} diode"),
    )


def read_diode(world: World, piece: Piece) -> float:
    """Return the lower of the volts that the diode range shows of a piece either way; infinite for open."""
    ways = (piece, Piece(piece.parts, piece.black, piece.red))
    return min(_read_diode_once(world, each) for each in ways)


def _read_diode_once(world: World, piece: Piece) -> float:
    volts = solve_parts([*piece.parts, *_list_insulation(piece), *build_diode_source(world, piece.red, piece.black)])
    seen_v = volts[piece.red] - volts[piece.black]
    return seen_v if seen_v < world.spreads.diode_range.shown * find_diode_v(world) else float("inf")


def _read_both(world: World, piece: Piece) -> tuple[float, float]:
    return read_free_ohms(world, piece), read_free_ohms(world, Piece(piece.parts, piece.black, piece.red))


def read_free_ohms(world: World, piece: Piece) -> float:
    """Return the ohms of a piece as the meter's own test source finds them, leads included; infinite over range."""
    added = build_test_source(world, piece.red, piece.black)
    volts = solve_parts([*piece.parts, *_list_insulation(piece), *added])
    return find_shown_ohm(world, volts[piece.red] - volts[piece.black])


def _read_volts(world: World, piece: Piece) -> float:
    """Return the volts that a piece shows by itself."""
    meter = build_leak("meter", piece.red, piece.black, world.meter["input_ohm"], ())
    volts = solve_parts([*piece.parts, *_list_insulation(piece), meter])
    return volts[piece.red] - volts[piece.black]


def _list_insulation(piece: Piece) -> list[Row]:
    ends = dict.fromkeys([*(p[end] for p in piece.parts for end in ("a", "b")), piece.red, piece.black])
    return [build_leak(f"lies.{end}", end, EARTH, _INSULATION_OHM, ()) for end in ends if end != EARTH]


def _take_out(world: World, way: str, place: str) -> Piece:
    """Return the piece of a place; raises KeyError where there is no such resistor or run."""
    if way == "across":
        return _take_resistor(world, place)
    spot, _, end = place.partition(".")
    cores = _find_ends(world, spot)
    parts = _list_run(world, spot, cores)
    if way == "along":
        return Piece(parts, *cores[f"wire.{place}"])
    if way == "to_earth":
        return Piece(parts, cores[f"wire.{place}"][0], EARTH)
    kind = end.removesuffix("_contact").removesuffix("_power")
    signs = ("_a", "_b") if end.endswith("_contact") else ("+", "-")
    red, black = (cores[f"wire.{spot}.{kind}{sign}"][1] for sign in signs)
    return Piece(parts, red, black)


def _take_resistor(world: World, place: str) -> Piece:
    """Return the resistor of an end, or of a module's output, with another that hangs beside it."""
    label = place.removeprefix("end").lstrip("_")
    wanted = f"panel_resistor.{place.partition('.')[2]}"
    names = {p["name"]: p for p in world.parts}
    found = [
        part
        for name, part in names.items()
        if (find_label(name.removesuffix(".second")) == label if place.startswith("end") else name == wanted)
    ]
    if not found:
        raise KeyError(place)
    return Piece(tuple(found), found[0]["a"], found[0]["b"])


def _find_ends(world: World, spot: str) -> dict[str, tuple[str, str]]:
    """Return from where to where each conductor of a run goes, as it is installed; raises KeyError for no such run."""
    sound = build_world(world.line, world.site)
    ends = {p["name"]: (p["a"], p["b"]) for p in sound.parts if p["name"].startswith(f"wire.{spot}.")}
    if not ends:
        raise KeyError(spot)
    return ends


def _list_run(world: World, spot: str, cores: dict[str, tuple[str, str]]) -> tuple[Row, ...]:
    """Return the conductors of a run, what sits between their halves, and what else is foreign at its far ends."""
    own = [p for p in world.parts if p["name"].startswith((f"wire.{spot}.", f"leaks.wire.{spot}."))]
    inner = {p[end] for p in own for end in ("a", "b") if p[end].startswith(_INNER)}
    reach = inner | {b for _, b in cores.values()}
    names = {p["name"] for p in own}
    more = [
        p
        for p in world.parts
        if p["name"] not in names
        and ({p["a"], p["b"]} & inner or (p["name"].startswith(STRANGE) and {p["a"], p["b"]} <= reach))
    ]
    return (*own, *more)
