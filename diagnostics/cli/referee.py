"""The referee on the command line: what its commands take, and the other end of its line, the command line itself."""

import argparse
import contextlib
import io
import json
import sys
from collections.abc import Callable, Sequence

from diagnostics.referee import POLICIES, RefusedError, Row

WHAT = ("speed", "plans", "policies", "doubles", "unmodelled", "calibration")
Run = Callable[[argparse.Namespace], int]
Add = Callable[..., argparse.ArgumentParser]


def add_rehearse(add: Add, run: Run) -> argparse.ArgumentParser:
    """Add the command ``rehearse``, what it takes and what it runs."""
    parser = add("rehearse", help="play one whole visit with a planted fault against the referee")
    parser.add_argument("site", metavar="SITE", help="a site file, or the name of a shipped site")
    parser.add_argument("--fault", required=True, metavar="F", help="KIND[=VALUE]@PLACE, the fault that is planted")
    parser.add_argument("--seed", type=int, default=1, metavar="N", help="of the world: tolerances, meter, slips (1)")
    parser.add_argument("--policy", choices=POLICIES, default="ours", help="the way of working (ours)")
    parser.add_argument("--careful", action="store_true", help="nobody makes a slip or reads too soon")
    there = "the fault comes and goes: the percentage of the time in which it is there (100)"
    parser.add_argument("--there", type=_read_percent, default=1.0, metavar="PERCENT", help=there)
    parser.set_defaults(run=run)
    return parser


def _read_percent(text: str) -> float:
    """Return a percentage as a share; raises ArgumentTypeError for anything that is not above 0 and up to 100."""
    try:
        percent = float(text.removesuffix("%").replace(",", "."))
    except ValueError:
        percent = 0.0
    if not 0.0 < percent <= 100.0:
        raise argparse.ArgumentTypeError(f"{text!r} is no percentage above 0 and up to 100; write 40")
    return percent / 100


def add_bench(add: Add, run: Run) -> argparse.ArgumentParser:
    """Add the command ``bench``, what it takes and what it runs."""
    parser = add(
        "bench", help="measure speed as ratios, what looking ahead saves, ways of working, what beliefs are worth"
    )
    parser.set_defaults(run=run)
    parser.add_argument("what", nargs="?", choices=WHAT, default="speed", help="(speed)")
    each = "policies: faults of each wiring style; doubles, unmodelled, calibration: visits to each site (5)"
    parser.add_argument("--count", type=int, default=5, metavar="N", help=each)
    parser.add_argument("--population", default="every_style", metavar="NAME", help="policies: (every_style)")
    parser.add_argument(
        "--style", action="append", metavar="STYLE", help="only this wiring style; not for speed, plans"
    )
    parser.add_argument("--policies", default=",".join(POLICIES), metavar="A,B", help="policies: which ways of working")
    parser.add_argument(
        "--jobs", type=int, default=1, metavar="N", help="processes at a time (1); not for speed, plans"
    )
    parser.add_argument("--stories", action="store_true", help="policies: tell every visit that settled wrongly")
    return parser


def ask_here(words: Sequence[str], text: str) -> Row:
    """Run one command with ``--json`` as a shell would, a text on its standard input; raises RefusedError."""
    from .main import run  # noqa: PLC0415 - the command line knows the commands, one of which this belongs to

    out, err, own_stdin = io.StringIO(), io.StringIO(), sys.stdin
    sys.stdin = io.TextIOWrapper(io.BytesIO(text.encode()), encoding="utf-8")
    try:
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            code = run([*words, "--json"])
    finally:
        sys.stdin = own_stdin
    if code != 0:
        raise RefusedError(f"{' '.join(words)}: {out.getvalue()[-600:]}{err.getvalue()[-600:]}")
    answer: Row = json.loads(out.getvalue())
    return answer
