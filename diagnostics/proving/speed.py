"""How long a batch of faulty loops takes to solve, beside ngspice on the very same circuits.

Never a timed test: machines differ and are busy. The figures are for reports.
"""

import itertools
import statistics
import subprocess
import tempfile
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from diagnostics.circuit import (
    Settled,
    apply_steps,
    build_network,
    settle_from_rest,
    write_netlist,
)
from diagnostics.faults import find_touched, list_faults
from diagnostics.wiring import Edits, Loop, QuickDescription, build_loop, build_quick_site

FAULTS = 149
REPEATS = 5
SIZES = (8, 20, 64, 128)
PAIRS = 10_000


@dataclass(frozen=True, slots=True)
class SpeedRow:
    """One size: detectors, circuits, seconds of ours and of ngspice, both medians.

    Ours is everything from the edits to all states settled, in one thread, with its loops compiled before.
    ``ngspice_s`` is one process that reads and solves netlists written beforehand, already in their settled states: it
    never searches for a state. ``solving_s`` is the same less a process that reads the same netlists and solves none.
    """

    detectors: int
    circuits: int
    ours_s: float
    ngspice_s: float
    solving_s: float

    @property
    def ratio(self) -> float:
        """Return how many times longer ngspice takes to read and solve: ours builds its circuits as well."""
        return self.ngspice_s / self.ours_s

    @property
    def solving_ratio(self) -> float:
        """Return how many times longer ngspice takes to solve alone, although ours builds its circuits as well."""
        return self.solving_s / self.ours_s


def find_growth(rows: Sequence[SpeedRow]) -> float | None:
    """Return the exponent with which our seconds grow with the number of detectors, by least squares; None for one."""
    if len(rows) < 2:
        return None
    sizes, times = np.log([row.detectors for row in rows]), np.log([row.ours_s for row in rows])
    return float(np.polyfit(sizes, times, 1)[0])


def measure_pairs(detectors: int = 20, count: int = PAIRS) -> tuple[int, float]:
    """Return how many pairs of faults were settled in standby on a two-wire loop, and the seconds that it took."""
    loop = _build(detectors)
    faults = list_faults(loop)
    touched = [find_touched(loop, fault) for fault in faults]
    every = ((a, b) for a in range(len(faults)) for b in range(a) if not touched[a] & touched[b])
    some = list(itertools.islice(every, count))
    edits = [(*faults[a].build_edits(loop), *faults[b].build_edits(loop)) for a, b in some]
    return len(edits), _time(lambda: settle_from_rest(build_network(loop, edits)))[0]


def measure_speed(sizes: Sequence[int] = SIZES, program: str = "ngspice") -> tuple[SpeedRow, ...]:
    """Time a two-wire loop of each size: 149 faults × (standby, an alarm half way, a head off half way).

    Raises
    ------
    FileNotFoundError
        There is no ngspice (Debian package ngspice).
    """
    return tuple(_measure_size(size, program) for size in sizes)


def _measure_size(detectors: int, program: str) -> SpeedRow:
    loop = _build(detectors)
    faults = list_faults(loop)
    chosen = np.linspace(0, len(faults) - 1, FAULTS).round().astype(int)
    edits = [faults[int(n)].build_edits(loop) for n in chosen]
    middle = f"det{(detectors + 1) // 2}"
    settled = _settle_all(loop, edits, middle)
    netlists = [_write_one(batch, n) for batch in settled for n in range(batch.columns.size)]
    with tempfile.TemporaryDirectory() as name:
        solved, read = Path(name, "solved"), Path(name, "read")
        for folder, texts in ((solved, netlists), (read, [n.replace("\nop\n", "\n") for n in netlists])):
            folder.mkdir()
            _write_files(folder, texts)
        ours_s, whole_s, read_s = _time(
            lambda: _settle_all(loop, edits, middle), lambda: _run(program, solved), lambda: _run(program, read)
        )
    return SpeedRow(detectors, len(netlists), ours_s, whole_s, whole_s - read_s)


def _build(detectors: int) -> Loop:
    answers = QuickDescription("two_wire_zone", str(detectors), "4.7k", "18 AWG", "10 m")
    return build_loop(build_quick_site(answers)[0])


def _settle_all(loop: Loop, edits: Sequence[Edits], middle: str) -> list[Settled]:
    """Settle every fault in standby, then all with an alarm and all with a head off, in one step of one batch."""
    rest = settle_from_rest(build_network(loop, edits))
    wide = rest.take(np.tile(np.arange(len(edits)), 2))
    alarm = np.arange(wide.columns.size) < len(edits)
    head_off = wide.signal(f"{middle}.head_off") | ~alarm
    return [rest, apply_steps(wide, [{f"{middle}.smoke": alarm, f"{middle}.head_off": head_off}])]


def _write_one(batch: Settled, column: int) -> str:
    """Return a netlist that is solved but not printed: writing is no part of solving."""
    text = write_netlist(batch.take(np.array([column])), f"circuit {column}")
    return text.replace("print all\n", "")


def _write_files(folder: Path, texts: Sequence[str]) -> None:
    for n, text in enumerate(texts):
        (folder / f"{n}.cir").write_text(text, encoding="ascii")
    lines = "".join(f"source {n}.cir\ndestroy all\nremcirc\n" for n in range(len(texts)))
    (folder / "all").write_text(f"all\n.control\n{lines}quit\n.endc\n.end\n", encoding="ascii")


def _run(program: str, folder: Path) -> None:
    words = [program, "-b", "all"]
    subprocess.run(words, cwd=folder, check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)  # noqa: S603


def _time(*works: Callable[[], object]) -> tuple[float, ...]:
    """Return the median seconds of each, after a run to warm up, in turns: a busy moment then meets all of them."""
    for work in works:
        work()
    taken: list[list[float]] = [[] for _ in works]
    for _ in range(REPEATS):
        for work, some in zip(works, taken, strict=True):
            start = time.perf_counter()
            work()
            some.append(time.perf_counter() - start)
    return tuple(statistics.median(some) for some in taken)
