"""What ``ohmward bench`` measures and prints: speed as ratios within one run, and what looking ahead saves."""

import argparse
import statistics
import sys
from collections.abc import Callable
from dataclasses import asdict

from diagnostics.proving import plans, speed, suggest
from diagnostics.proving.speed import SpeedRow, find_growth

from .commands import print_json

_WAYS = {
    "rollout": "rollout", "one_step": "one step", "half_split": "half-split",
    "rollout_off": "rollout, minutes wrong", "one_step_off": "one step, minutes wrong",
}  # fmt: skip


def run_bench(options: argparse.Namespace) -> int:
    """Measure one of the things that can be measured."""
    return _BENCHES[options.what](options)


def _bench_speed(options: argparse.Namespace) -> int:
    """Measure speed against ngspice, and how long a person waits for a suggestion."""
    try:
        rows = speed.measure_speed()
    except FileNotFoundError:
        print("ohmward bench: there is no ngspice here (Debian package ngspice)", file=sys.stderr)
        return 2
    if options.json:
        _print_speed(rows)
        return 0
    for row in rows:
        times = f"ours {row.ours_s * 1e3:.1f} ms, ngspice {row.ngspice_s * 1e3:.1f} ms"
        print(f"{row.detectors} detectors, {row.circuits} circuits: {times}, {row.ratio:.0f} times")
    count, pairs_s = speed.measure_pairs()
    growth = find_growth(rows)
    if growth is not None:
        print(f"seconds grow with detectors to the power of {growth:.2f}")
    print(f"{count} pairs of faults settled in standby, 20 detectors: {pairs_s:.2f} s")
    print("times as long as settling every fault once: first suggestion / next / next, likely answers reckoned ahead")
    for wait in suggest.measure_suggestions():
        shares = f"{wait.first_ratio:.1f} / {wait.next_ratio:.1f} / {wait.ahead_ratio:.1f}"
        print(f"{wait.style}, {wait.detectors} detectors: {shares} ({wait.settling_s * 1e3:.0f} ms)")
    complaints = suggest.measure_complaints()
    size = f"{complaints[0].hypotheses} hypotheses, {complaints[0].measurements} measurements"
    print(f"first suggestion of each complaint, four-wire behind a module, {size}, forecasts not there:")
    for said in complaints:
        print(f"{said.complaint}: {said.first_ratio:.1f} ({said.first_s * 1e3:.0f} ms)")
    one_s, plan_s = suggest.measure_choice()
    told = f"one step ahead {one_s * 1e3:.0f} ms, with a plan {plan_s * 1e3:.0f} ms"
    print(f"the next step of 1200 hypotheses and 200 measurements, forecasts there: {told}")
    return 0


def _print_speed(rows: tuple[SpeedRow, ...]) -> None:
    told = [{**asdict(row), "ratio": row.ratio} for row in rows]
    names = ("first_ratio", "next_ratio", "ahead_ratio")
    waits = [{**asdict(w), **{name: getattr(w, name) for name in names}} for w in suggest.measure_suggestions()]
    complaints = [{**asdict(row), "first_ratio": row.first_ratio} for row in suggest.measure_complaints()]
    count, pairs_s = speed.measure_pairs()
    grown = {"growth_exponent": find_growth(rows), "pairs": {"count": count, "ours_s": pairs_s}}
    choice = dict(zip(("one_step_s", "plan_s"), suggest.measure_choice(), strict=True))
    more = {"suggestions": waits, "complaints": complaints, "choice": choice}
    print_json({"format": "ohmward-bench/1", "rows": told, **grown, **more})


def _bench_plans(options: argparse.Namespace) -> int:
    """Compare ways of working with the exact plan on the reference set."""
    rows = plans.measure_plans()
    if options.json:
        told = [{**asdict(row), "excess": row.excess} for row in rows]
        print_json({"format": "ohmward-bench-plans/1", "rows": told})
        return 0
    print("expected minutes to repaired beyond the exact plan, one fault at a time, every answer sure")
    for row in rows:
        shares = ", ".join(f"{_WAYS[way]} {100 * share:.1f} %" for way, share in row.excess.items())
        exact = "does not fit" if row.exact is None else f"{row.exact:.1f} min"
        size = f"{row.style}, {row.detectors} detectors, {row.hypotheses} hypotheses"
        print(f"{size}: exact {exact} ({row.states} states); {shares}; other steps {100 * row.differ:.0f} %")
    fitting = [row.excess for row in rows if row.excess]
    for way, words in _WAYS.items():
        some = [excess[way] for excess in fitting]
        if some:
            print(f"{words}: mean {100 * statistics.fmean(some):.2f} %, worst {100 * max(some):.2f} %")
    return 0


_BENCHES: dict[str, Callable[[argparse.Namespace], int]] = {"speed": _bench_speed, "plans": _bench_plans}
