"""ngspice for tests: many circuits in one process, volts by node."""

import re
import subprocess
from collections.abc import Sequence
from pathlib import Path

_VOLTS = re.compile(r"^(\w+) = (\S+)$", flags=re.MULTILINE)
_MARK = "circuit number"
_FOUND = "stepping completed|transient op finished successfully"


_LOOSER = (
    ".options gmin=1e-15 reltol=1e-6 abstol=1e-12 vntol=1e-8 itl1=5000",
    ".options gmin=1e-12 reltol=1e-6 abstol=1e-12 vntol=1e-6 itl1=5000",
    ".options gmin=1e-12 reltol=1e-5 abstol=1e-11 vntol=1e-6 itl1=5000",
    ".options gmin=1e-12 reltol=1e-3 abstol=1e-10 vntol=1e-5 itl1=5000",
)
"""Where an answer is refused as typed: looser by steps, and from the second 1 Tohm across each part with a curve."""


def solve_typed(program: str, netlist: str) -> dict[str, float]:
    """Return the volts of every node to earth of a netlist that prints them.

    Where ngspice finds no answer at the tolerances typed in it, looser ones are tried; an AssertionError when those
    fail too. A later method of ngspice may succeed where an earlier one failed.
    """
    for text in [netlist, *(re.sub(r"^\.options.*$", options, netlist, flags=re.MULTILINE) for options in _LOOSER)]:
        done = subprocess.run([program, "-b"], input=text, capture_output=True, text=True, timeout=60, check=False)
        volts = {node: float(value) for node, value in _VOLTS.findall(done.stdout)}
        if volts and "failed" not in re.split(_FOUND, done.stderr.lower())[-1]:
            return volts
    raise AssertionError(done.stdout[-800:] + done.stderr[-800:])


def solve_tightest(
    program: str, netlists: Sequence[str], tolerances: Sequence[float], folder: Path
) -> list[tuple[float, dict[str, float]]]:
    """Return, for each netlist, the first of the tolerances at which ngspice finds an answer, and its volts by node.

    A tolerance (relative, and volts) stands in place of those of the netlist; tightest first. ngspice stops when
    nothing moves by more, which at 1 nV may be too early for a terminal that hangs on teraohms beside a steep curve.
    """
    found: dict[int, tuple[float, dict[str, float]]] = {}
    for tolerance in tolerances:
        rest = [n for n in range(len(netlists)) if n not in found]
        tables = solve_netlists(program, [_tighten(netlists[n], tolerance) for n in rest], folder)
        found |= {n: (tolerance, table) for n, table in zip(rest, tables, strict=True) if table}
    return [found.get(n, (float("nan"), {})) for n in range(len(netlists))]


def _tighten(netlist: str, tolerance: float) -> str:
    text, count = re.subn(r" (reltol|vntol)=\S+", rf" \1={tolerance:g}", netlist)
    assert count == 2, "the netlist sets both tolerances"
    return text


def solve_netlists(program: str, netlists: Sequence[str], folder: Path) -> list[dict[str, float]]:
    """Return the volts of every node to earth of each netlist, by node name, in their order.

    Each netlist prints its own volts; a circuit for which ngspice found no answer has an empty table.
    """
    for number, text in enumerate(netlists):
        (folder / f"circuit{number}.cir").write_text(text, encoding="ascii")
    runs = [f"echo {_MARK} {n}\nsource circuit{n}.cir\ndestroy all\nremcirc" for n in range(len(netlists))]
    script = "\n".join(["all circuits, one after the other", ".control", *runs, "quit", ".endc", ".end"]) + "\n"
    (folder / "all.cir").write_text(script, encoding="ascii")
    words = [program, "-b", "all.cir"]
    done = subprocess.run(words, cwd=folder, capture_output=True, text=True, timeout=300, check=False)
    tables = re.split(rf"^{_MARK} \d+$", done.stdout, flags=re.MULTILINE)[1:]
    assert len(tables) == len(netlists), done.stdout[-2000:] + done.stderr[-2000:]
    return [{node: float(volts) for node, volts in _VOLTS.findall(table)} for table in tables]
