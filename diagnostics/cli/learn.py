"""What ``ohmward learn-panel`` reads: volts, resistors and states as people write them."""

import argparse
from collections.abc import Callable, Sequence

from diagnostics.cases import parse_meter
from diagnostics.errors import PhysicsError, QuantityError, find_nearest
from diagnostics.readings import (
    Reading,
    Trial,
    build_panel_part,
    learn_source,
    learn_windows,
)
from diagnostics.reports import Zone, read_learn_words, tell_crooked
from diagnostics.units import parse_quantity, parse_resistor
from diagnostics.visit import read_known

STATES = ("normal", "trouble", "alarm")
_SAME = {"fault": "trouble", "quiet": "normal"}
_ENDS = {"open": float("inf"), "nothing": float("inf"), "short": 0.0}


def add_learn_panel(parser: argparse.ArgumentParser, run: Callable[[argparse.Namespace], int]) -> None:
    """Add what the command takes, and what it runs."""
    parser.set_defaults(run=run)
    parser.add_argument("--open", required=True, metavar="VOLTS", help="volts at the zone, field wires lifted")
    parser.add_argument(
        "--known", nargs=2, action="append", default=[], metavar=("RESISTOR", "VOLTS"),
        help="volts with a known resistor on the terminals; twice or more, each of another value",
    )  # fmt: skip
    parser.add_argument(
        "--shows", nargs="+", action="extend", default=[], metavar="RESISTOR STATE",
        help="what the panel shows with a resistor (or open, short) on the terminals: normal, trouble or alarm",
    )  # fmt: skip
    parser.add_argument("--tolerance", default="5 %", help="of the resistors; colour bands say their own (5 %%)")
    parser.add_argument("--measured", action="store_true", help="the resistors were measured with the same meter")
    parser.add_argument("--accuracy", metavar="TEXT", help="of the meter's volts, for example '0.5 %% + 2'")


def learn_zone(options: argparse.Namespace) -> Zone:
    """Return what the readings and trials of a command line come to.

    Raises
    ------
    QuantityError
        A text is no volts, no resistor or no state.
    PhysicsError
        The readings or trials contradict each other, or the source is no plain one.
    """
    meter = parse_meter({} if options.accuracy is None else {"volts": options.accuracy})
    percent = parse_quantity(options.tolerance, "%")
    readings = (
        Reading(parse_quantity(options.open, "V")),
        *(read_known(r, v, meter, percent=percent, measured=options.measured) for r, v in options.known),
    )
    source = learn_source(readings, meter)
    if source.line != "straight":
        raise PhysicsError(tell_crooked(source), hint=read_learn_words().crooked_hint)
    trials = _pair(options.shows)
    share = max(r.share for r in readings)
    windows = learn_windows(source, [_read_trial(*trial) for trial in trials], share) if trials else None
    return Zone(readings, source, windows, build_panel_part(source, windows))


def _pair(words: Sequence[str]) -> list[tuple[str, str]]:
    if len(words) % 2:
        hint = "write for example --shows 10k trouble 4k7 normal 1k alarm"
        raise QuantityError("each resistor wants its state beside it", text=" ".join(words), unit="a word", hint=hint)
    return list(zip(words[::2], words[1::2], strict=True))


def _read_trial(resistor: str, state: str) -> Trial:
    ohm = _ENDS[resistor.lower()] if resistor.lower() in _ENDS else parse_resistor(resistor)
    plain = _SAME.get(state.lower(), state.lower())
    if plain not in STATES:
        near = find_nearest(plain, STATES)
        hint = f"did you mean {near!r}?" if near else f"choose one of {', '.join(STATES)}"
        raise QuantityError(f"{state[:40]!r} is no state of a zone", text=state, unit="a word", hint=hint)
    return Trial(ohm, plain)
