"""A reading that the store has acknowledged survives the program that gave it.

The programs are killed (SIGKILL), not the computer: what a loss of power does to a disk cannot be shown here.
"""

import os
import random
import sqlite3
import subprocess
import sys
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

import pytest

from diagnostics.cases import CaseStore
from tests.cases.invented import build_invented_case

KILLS = 50
AT_ONCE = 4
LONGEST_WAIT_S = 0.3
CHECKOUT = Path(__file__).parents[2]


@dataclass(frozen=True, slots=True)
class Killed:
    """What one program had printed when it was killed."""

    case_id: str
    acknowledged: tuple[str, ...]


def _kill_one(url: str, case_id: str, wait_s: float) -> Killed:
    """Start the program, wait for its first acknowledged reading and a random time more, kill it."""
    path = os.pathsep.join([str(CHECKOUT), *filter(None, [os.environ.get("PYTHONPATH")])])
    environment = os.environ | {"PYTHONPATH": path}
    command = [sys.executable, str(CHECKOUT / "tests" / "cases" / "keep_appending.py"), url, case_id]
    with subprocess.Popen(command, stdout=subprocess.PIPE, env=environment, text=True) as child:
        assert child.stdout is not None
        first = child.stdout.readline()
        time.sleep(wait_s)
        child.kill()
        rest = child.stdout.read()
        assert child.wait(timeout=30) == -9, "it ended before it was killed"
    lines = (first + rest).split("\n")[:-1]  # what stands behind the last line end was cut off
    return Killed(case_id, tuple(lines))


def test_no_acknowledged_reading_is_lost_when_programs_are_killed(
    url: str, record_property: Callable[[str, object], None], capsys: pytest.CaptureFixture[str]
) -> None:
    waits = [random.Random(number).uniform(0, LONGEST_WAIT_S) for number in range(KILLS)]  # noqa: S311 - no secret
    with CaseStore(url, patience_s=30.0) as store:
        # Five programs, one after the other or at once, share each case.
        case_ids = [store.create_case(build_invented_case()).case_id for _ in range(KILLS // 5)] * 5
        with ThreadPoolExecutor(AT_ONCE) as pool:
            killed = list(pool.map(_kill_one, [url] * KILLS, case_ids, waits))
        found = {case_id: {r.reading_id for r in store.load_case(case_id).readings} for case_id in set(case_ids)}
    acknowledged = sum(len(k.acknowledged) for k in killed)
    lost = [reading_id for k in killed for reading_id in k.acknowledged if reading_id not in found[k.case_id]]
    figures = {
        "kills": len(killed),
        "acknowledged": acknowledged,
        "fewest_a_kill": min(len(k.acknowledged) for k in killed),
        "found": sum(len(ids) for ids in found.values()),
        "lost": len(lost),
    }
    record_property("figures", figures)
    with capsys.disabled():
        print(f"\n  killed programs: {figures}")  # noqa: T201 - the figures are the result
    assert figures["kills"] == KILLS
    assert figures["fewest_a_kill"] >= 1
    assert len({i for k in killed for i in k.acknowledged}) == acknowledged
    assert not lost
    # A program killed between commit and print leaves one reading more than it told of; never more than one.
    assert acknowledged <= figures["found"] <= acknowledged + KILLS
    if url.startswith("sqlite"):
        with closing(sqlite3.connect(url.removeprefix("sqlite:///"))) as connection:
            assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
