"""What ``ohmward bench`` prints of beliefs and of pairs of faults: what they are worth, and what fits nothing."""

import argparse
import sys
from collections.abc import Callable, Sequence
from dataclasses import asdict

from diagnostics.errors import find_nearest
from diagnostics.proving import calibration, doubles, unmodelled
from diagnostics.proving.came_out import tally_causes
from diagnostics.proving.policies import Interval
from diagnostics.referee import STYLES

from .commands import print_json
from .referee import ask_here
from .rehearse import tell_interval

_SEED = 1


def run_worth(options: argparse.Namespace) -> int:
    """Measure one of them."""
    styles = tuple(options.style or STYLES)
    wrong = next((word for word in styles if word not in STYLES), None)
    if wrong is not None:
        near = find_nearest(wrong, STYLES)
        hint = f"did you mean {near!r}?" if near else f"there are {', '.join(STYLES)}"
        print(f"ohmward bench {options.what}: no wiring style {wrong!r}; {hint}", file=sys.stderr)
        return 2
    return _WORTH[options.what](options, styles)


def _run_calibration(options: argparse.Namespace, styles: Sequence[str]) -> int:
    """Play visits in matched and in wide worlds, and print what the beliefs on the way were worth."""
    rated = {}
    for name, wide in (("matched", False), ("wide", True)):
        visits = calibration.play_calibration(ask_here, styles, options.count, _SEED, wide=wide, jobs=options.jobs)
        rated[name] = calibration.rate_calibration(visits)
    if options.json:
        print_json({"format": "ohmward-calibration/1", **{name: asdict(found) for name, found in rated.items()}})
        return 0
    for name, found in rated.items():
        print(f"\n{name} worlds: {found.visits} visits, {found.beliefs} beliefs")
        print(f"right when settled {tell_interval(found.right, 100)} %, after repair and tests", end=" ")
        print(f"{tell_interval(found.verified, 100)} %, never settled {tell_interval(found.never, 100)} %")
        print(f"Brier {_tell(found.brier)}, log-loss {_tell(found.log_loss)}, calibration error {_tell(found.error)}")
        print("said  held  beliefs")
        print("\n".join(f"{mean:.3f} {share:.3f} {count}" for count, mean, share in found.bins))
    return 0


def _tell(interval: Interval) -> str:
    return f"{interval.value:.4f} ({interval.low:.4f} to {interval.high:.4f})"


def _run_doubles(options: argparse.Namespace, styles: Sequence[str]) -> int:
    """Play pairs of faults, and print what weighing pairs saves."""
    pairs = doubles.play_doubles(ask_here, styles, options.count, _SEED, jobs=options.jobs)
    if not pairs:
        print("ohmward bench doubles: no two faults that can be played here", file=sys.stderr)
        return 1
    found = doubles.rate_saving(pairs)
    if options.json:
        told = {"format": "ohmward-doubles/1", **asdict(found), "pairs": [asdict(pair) for pair in pairs]}
        print_json(told)
        return 0
    print(f"{found.count} pairs of faults, minutes to restored and tested, another visit where they were not")
    print(f"weighing pairs {tell_interval(found.together)}, one fault at a time {tell_interval(found.apart)}", end=", ")
    print(f"who knows both {tell_interval(found.knowing)}")
    print(
        f"saved {tell_interval(found.saved_minutes)} min, {tell_interval(found.saved_share, 100)} % of all minutes,",
        end=" ",
    )
    print(f"{tell_interval(found.saved_of_rest, 100)} % of those beyond who knows both")
    print(f"if nothing had to be measured after the first repair: {tell_interval(found.second_search, 100)} % saved")
    print(f"repairs of what was sound, a visit: {found.wrong:.2f}, one fault at a time {found.apart_wrong:.2f}")
    return 0


def _run_unmodelled(options: argparse.Namespace, styles: Sequence[str]) -> int:
    """Play what no catalogue holds, and print what was made of it."""
    visits = unmodelled.play_unmodelled(ask_here, styles, options.count, _SEED, jobs=options.jobs)
    effects = sorted({v.effect for v in visits})
    rows = {name: unmodelled.tally_unmodelled([v for v in visits if v.effect == name]) for name in effects}
    rows["every effect"] = unmodelled.tally_unmodelled(visits)
    known = calibration.play_calibration(ask_here, styles, options.count, _SEED, wide=False, jobs=options.jobs)
    causes = tally_causes([v.cause for v in known if v.is_catalogued])
    if options.json:
        told = {name: asdict(tally) for name, tally in rows.items()}
        listed = [asdict(v) for v in visits]
        alarms = asdict(causes) if causes.alarms.count else None  # a share of none is no number
        print_json({"format": "ohmward-unmodelled/1", "rows": told, "visits": listed, "catalogued": alarms})
        return 0
    for name, tally in rows.items():
        said, place, wrongly = (tell_interval(share, 100) for share in (tally.said, tally.its_place, tally.wrongly))
        print(f"{name}: {tally.said.count} visits; not modelled or does not fit {said} %, settled on its own", end=" ")
        print(f"run {place} %, wrongly {wrongly} %, undecided {tell_interval(tally.undecided, 100)} %;", end=" ")
        print(f"said before or after the repair {tell_interval(tally.said_by_then, 100)} %")
    print(
        f"faults of the catalogue in matched worlds, rightly repaired: {causes.alarms.count} with something to measure;"
    )
    print(f"said not to fit what was suspected {tell_interval(causes.alarms, 100)} %", end=", ")
    print(f"not to be told {tell_interval(causes.cannot_tell, 100)} %")
    return 0


_WORTH: dict[str, Callable[[argparse.Namespace, Sequence[str]], int]] = {
    "calibration": _run_calibration,
    "doubles": _run_doubles,
    "unmodelled": _run_unmodelled,
}
