"""Kill programs at random moments while they save, and count what the store had acknowledged and still holds.

``python tests/cases/soak_kill.py [KILLS] [URL]``: 200 kills of SQLite in a folder of its own, unless told otherwise.
The programs are killed (SIGKILL), not the computer: what a loss of power does to a disk cannot be shown here.
"""

import os
import random
import sqlite3
import subprocess
import sys
import tempfile
import time
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

CHECKOUT = Path(__file__).parents[2]
if __name__ == "__main__":
    sys.path.insert(0, str(CHECKOUT))

from diagnostics.cases import CaseStore  # noqa: E402 - the checkout must be found first
from tests.cases.invented import build_invented_case  # noqa: E402
from tests.cases.keep_appending import list_kept  # noqa: E402

AT_ONCE = 4
A_CASE = 5  # programs that share a case, one after the other or at once
LONGEST_WAIT_S = 0.6


@dataclass(frozen=True, slots=True)
class Killed:
    """What one program had printed when it was killed."""

    case_id: str
    acknowledged: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Soaked:
    """What came of all the kills: ``lost`` and ``kinds`` are of acknowledged acts, ``found`` is all that is kept."""

    kills: int
    acknowledged: int
    fewest_a_kill: int
    found: int
    lost: tuple[str, ...]
    doubled: int
    kinds: dict[str, int]
    is_sound: bool


def kill_one(url: str, case_id: str, wait_s: float) -> Killed:
    """Start the program, wait for its first acknowledged act and a random time more, kill it."""
    path = os.pathsep.join([str(CHECKOUT), *filter(None, [os.environ.get("PYTHONPATH")])])
    command = [sys.executable, str(CHECKOUT / "tests" / "cases" / "keep_appending.py"), url, case_id]
    with subprocess.Popen(command, stdout=subprocess.PIPE, env=os.environ | {"PYTHONPATH": path}, text=True) as child:
        if child.stdout is None:
            raise RuntimeError("no output to read")
        first = child.stdout.readline()
        time.sleep(wait_s)
        child.kill()
        rest = child.stdout.read()
        if child.wait(timeout=30) != -9:
            raise RuntimeError("it ended before it was killed")
    return Killed(case_id, tuple((first + rest).split("\n")[:-1]))  # what stands behind the last line end was cut off


def soak(url: str, kills: int) -> Soaked:
    """Kill so many programs, a few at once, and count."""
    waits = [random.Random(number).uniform(0, LONGEST_WAIT_S) for number in range(kills)]  # noqa: S311 - no secret
    with CaseStore(url, patience_s=30.0) as store:
        cases = [store.create_case(build_invented_case()).case_id for _ in range(max(1, kills // A_CASE))]
        shared = [cases[n % len(cases)] for n in range(kills)]
        with ThreadPoolExecutor(AT_ONCE) as pool:
            killed = list(pool.map(kill_one, [url] * kills, shared, waits))
        kept = {case_id: store.load_case(case_id) for case_id in cases}
    found = {case_id: list_kept(case) for case_id, case in kept.items()}
    acknowledged = [line for k in killed for line in k.acknowledged]
    lost = [line for k in killed for line in k.acknowledged if line not in found[k.case_id]]
    readings = [r.reading_id for case in kept.values() for r in case.readings]
    return Soaked(
        kills,
        len(acknowledged),
        min(len(k.acknowledged) for k in killed),
        sum(len(some) for some in found.values()),
        tuple(lost),
        len(acknowledged) - len(set(acknowledged)) + len(readings) - len(set(readings)),
        dict(Counter(line.partition(" ")[0] for line in acknowledged)),
        _is_sound(url),
    )


def _is_sound(url: str) -> bool:
    if not url.startswith("sqlite"):
        return True
    with closing(sqlite3.connect(url.removeprefix("sqlite:///"))) as connection:
        answer: tuple[str] = connection.execute("PRAGMA integrity_check").fetchone()
    return answer == ("ok",)


def tell(soaked: Soaked) -> str:
    """Return the figures in a few lines."""
    kinds = ", ".join(f"{count} {kind}" for kind, count in sorted(soaked.kinds.items()))
    return (
        f"{soaked.kills} kills: {soaked.acknowledged} acts acknowledged ({kinds}; fewest a kill "
        f"{soaked.fewest_a_kill}), {soaked.found} found, {len(soaked.lost)} lost, {soaked.doubled} doubled, "
        f"store {'sound' if soaked.is_sound else 'DAMAGED'}"
    )


def main(arguments: list[str]) -> int:
    """Run the soak and print what came of it; 1 when anything was lost."""
    kills = int(arguments[0]) if arguments else 200
    with tempfile.TemporaryDirectory() as folder:
        url = arguments[1] if len(arguments) > 1 else f"sqlite:///{folder}/cases.sqlite3"
        soaked = soak(url, kills)
    print(tell(soaked))  # noqa: T201 - the figures are the result
    return int(bool(soaked.lost or soaked.doubled or not soaked.is_sound))


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
