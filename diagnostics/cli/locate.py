"""What ``ohmward locate`` reads: ohms of a shorted pair, or the balance of a bridge, and where that lies on a site."""

import argparse
import math
from collections.abc import Callable

from diagnostics.errors import QuantityError
from diagnostics.readings import (
    LEADS_OHM,
    Spot,
    find_by_loop,
    find_by_murray,
    find_by_three,
    find_by_varley,
    find_limit,
    find_spot,
    find_spread_share,
    list_first_runs,
    list_runs,
    read_table,
)
from diagnostics.units import parse_quantity
from diagnostics.wiring import Loop

# An arm of a slide or decade bridge is read to this share; invented.
_ARM_SHARE = 0.005


def add_locate(parser: argparse.ArgumentParser, run: Callable[[argparse.Namespace], int]) -> None:
    """Add what the command takes, and what it runs."""
    parser.set_defaults(run=run)
    parser.add_argument("site", metavar="SITE", help="a site file, - for standard input, or the name of a shipped site")
    parser.add_argument(
        "--first", metavar="RUN", help="the run that the pair begins with, for example det1.in (the first)"
    )
    parser.add_argument(
        "--leads", default=f"{LEADS_OHM} ohm", metavar="OHMS", help="what the meter shows with its leads joined"
    )
    how = parser.add_mutually_exclusive_group(required=True)
    how.add_argument("--short", metavar="OHMS", help="a short: ohms of the lifted pair")
    how.add_argument(
        "--three", nargs=3, metavar=("FAULTY", "SOUND", "CORE"),
        help="an earth, far end joined: ohms of either core to earth, and of one whole core",
    )  # fmt: skip
    how.add_argument(
        "--murray", nargs=2, metavar=("FAULTY", "SOUND"), help="an earth, far end joined: the balanced arms"
    )
    how.add_argument(
        "--varley", nargs=4, metavar=("P", "Q", "EARTH", "LOOP"),
        help="an earth, far end joined: ratio arms, and the rheostat to earth and for the loop",
    )  # fmt: skip


def locate(options: argparse.Namespace, loop: Loop) -> tuple[Spot, str]:
    """Return where it lies, and the run that the pair begins with.

    Raises
    ------
    QuantityError
        A text is no ohms, or no part of the pair is as far away.
    FaultError
        No run of that name begins a pair.
    """
    first = options.first or list_first_runs(loop)[0]
    runs = list_runs(loop, first)
    share = find_spread_share(loop, first)
    core_ohm, own_ohm = _find_core(options, sum(run.core_ohm for run in runs))
    is_ratio = options.murray is not None  # of the loop itself, however long it is
    spot = find_spot(runs, core_ohm, math.hypot(own_ohm, 0.0 if is_ratio else 2 * share * max(core_ohm, 0.0)))
    if spot is None:
        raise QuantityError(
            f"{core_ohm:.3g} Ω along one conductor is no place on this pair", text=f"{core_ohm:.3g}", unit="ohm",
            hint=f"are the leads taken off, and is it this pair? --first is one of {', '.join(list_first_runs(loop))}",
        )  # fmt: skip
    return spot, first


def _find_core(options: argparse.Namespace, whole_ohm: float) -> tuple[float, float]:
    """Return the ohms along one core to the fault, and their own ± (about 95 %) from meter or bridge."""
    if options.short is not None:
        read_ohm, leads_ohm = _read(options.short, options.leads)
        return find_by_loop(read_ohm, leads_ohm), _limit(read_ohm) / 2
    if options.three is not None:
        faulty_ohm, sound_ohm, core_ohm = _read(*options.three)
        core_ohm -= _read(options.leads)[0]
        return find_by_three(faulty_ohm, sound_ohm, core_ohm), math.hypot(
            _limit(core_ohm), _limit(faulty_ohm) / 2, _limit(sound_ohm) / 2
        )
    if options.murray is not None:
        faulty, sound = _read(*options.murray)
        found_ohm = find_by_murray(faulty, sound, 2 * whole_ohm)
        return found_ohm, math.sqrt(2) * _ARM_SHARE * found_ohm * sound / (faulty + sound)
    p, q, earth_ohm, loop_ohm = _read(*options.varley)
    return find_by_varley((p, q), earth_ohm, loop_ohm), _ARM_SHARE * math.hypot(earth_ohm, loop_ohm) * p / (p + q)


def _limit(ohm: float) -> float:
    return float(find_limit(ohm, "ohm", read_table().meter))


def _read(*texts: str) -> tuple[float, ...]:
    """Return ohms as typed; plain numbers are ohms."""
    found = tuple(parse_quantity(text, "ohm") for text in texts)
    if min(found) < 0:
        raise QuantityError("ohms below zero", text=" ".join(texts), unit="ohm", hint="prove 0 V, then read again")
    return found
