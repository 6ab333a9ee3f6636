"""What ``ohmward rehearse`` and ``ohmward bench policies`` read and print."""

import argparse
import math
import sys
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

from diagnostics.errors import find_nearest
from diagnostics.faults import parse_faults
from diagnostics.locate import find_shipped
from diagnostics.proving.policies import (
    Interval,
    Tally,
    find_population,
    hash_population,
    list_styles,
    play_population,
    rehearse,
    tally_policies,
)
from diagnostics.referee import POLICIES, NeverSettlesError, NotPlayedError, Plant, UnseenError, Visit, tell_visit

from .commands import print_json, read_loop
from .referee import ask_here

Object = dict[str, Any]


def run_rehearse(options: argparse.Namespace) -> int:
    """Play one whole visit and tell it."""
    faults = parse_faults(options.fault, read_loop(options.site)[1])  # what no loop can have is said in the usual words
    if len(faults) != 1 or options.seed < 0:
        told = "one fault at a time; 'ohmward bench doubles' plays two" if options.seed >= 0 else "a seed is 0 or more"
        print(f"ohmward rehearse: {told}", file=sys.stderr)
        return 2
    try:
        plant = Plant(_find_site(options.site), options.fault, "aged", (options.seed,), options.there)
        visit = rehearse(ask_here, plant, options.policy, careful=options.careful)
    except (UnseenError, NeverSettlesError, NotPlayedError) as error:
        reason = "nobody would call for this: nothing shows" if isinstance(error, UnseenError) else str(error)
        print(f"ohmward rehearse: {reason}", file=sys.stderr)
        return 1
    if options.json:
        print_json({"format": "ohmward-rehearsal/1", **build_visit(visit)})
    else:
        print("\n".join(tell_visit(visit)))
    return 0


def _find_site(name: str) -> Path:
    return Path(name) if Path(name).exists() else find_shipped("cases") / "sites" / f"{name}.yaml"


def build_visit(visit: Visit) -> Object:
    """Return a visit as an object: every step with its minutes, what it settled on, how it ended."""
    settled = None if visit.settled is None else dict(zip(("remedy", "place"), visit.settled, strict=True))
    told = asdict(visit) | {"settled": settled, "seed": list(visit.seed)}
    return told | {"minutes": round(visit.minutes, 2), "restored": visit.restored}


def run_policies(options: argparse.Namespace) -> int:
    """Compare ways of working; 1 where *ours* settled on a wrong repair."""
    whole = find_population(options.population)
    for what, given, known in (
        ("way of working", options.policies.split(","), POLICIES),
        ("wiring style", options.style or (), whole.styles),
    ):
        wrong = next((word for word in given if word not in known), None)
        if wrong is not None:
            hint = (
                f"did you mean {near!r}?" if (near := find_nearest(wrong, known)) else f"there are {', '.join(known)}"
            )
            print(f"ohmward bench policies: no {what} {wrong!r}; {hint}", file=sys.stderr)
            return 2
    found = hash_population(whole, ask_here)
    if found != whole.sha256:
        print(f"the faults drawn are not those on record: their hash is {found}", file=sys.stderr)
    styles = tuple(options.style or whole.styles)
    chosen = whole.model_copy(update={"styles": styles})
    visits = play_population(
        chosen, ask_here, options.policies.split(","), options.count, jobs=options.jobs, tell=_tell_aside
    )
    _print_policies(options, visits, found)
    return int(any(v.right is False for v in visits if v.policy == "ours"))


def _tell_aside(text: str) -> None:
    print(text, file=sys.stderr)


def _print_policies(options: argparse.Namespace, visits: Sequence[Visit], found: str) -> None:
    each = list(list_styles(visits))
    if options.json:
        told = {"population": options.population, "sha256": found, "count": options.count}
        rows = [_build_tally(t) for t in tally_policies(visits)]
        by_style = {style: [_build_tally(t) for t in tallies] for style, tallies in each}
        stories = [build_visit(v) for v in visits]
        print_json({"format": "ohmward-policies/1", **told, "rows": rows, "styles": by_style, "visits": stories})
        return
    if options.stories:
        print("\n\n".join("\n".join(tell_visit(v)) for v in visits if v.right is False or v.ended == "refused"))
    for style, tallies in [*each, ("every style", tally_policies(visits))]:
        print("\n".join([f"\n{style}", *tell_table(tallies)]))


def tell_table(tallies: Sequence[Tally]) -> list[str]:
    """Return the figures of ways of working as a table for a terminal, means and shares with their 95 % intervals."""
    head = (
        "",
        "visits",
        "minutes",
        "more than ours",
        "restored %",
        "right of settled %",
        "wrongly",
        "never",
        "refused",
    )
    rows = [head, *(_tell_row(t) for t in tallies)]
    widths = [max(len(row[n]) for row in rows) for n in range(len(head))]
    return ["  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip() for row in rows]


def _tell_row(t: Tally) -> tuple[str, ...]:
    shares = (tell_interval(t.restored, 100), tell_interval(t.right, 100))
    counts = (str(t.wrongly_settled), str(t.never_settled), str(t.refused))
    return (
        t.policy,
        str(t.visits),
        tell_interval(t.minutes),
        "" if t.longer is None else tell_interval(t.longer),
        *shares,
        *counts,
    )


def tell_interval(interval: Interval, times: float = 1.0) -> str:
    """Return a figure with its interval, both times a factor; a dash for none."""
    if not interval.count:
        return "-"
    value, low, high = (times * number for number in (interval.value, interval.low, interval.high))
    return f"{value:.1f}" if math.isinf(high) else f"{value:.1f} ({low:.1f} to {high:.1f})"


def _build_tally(tally: Tally) -> Object:
    told: Object = {
        key: {k: None if isinstance(v, float) and not math.isfinite(v) else v for k, v in value.items()}
        if isinstance(value, dict)
        else value
        for key, value in asdict(tally).items()
    }
    return told
