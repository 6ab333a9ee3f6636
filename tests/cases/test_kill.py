"""What the store has acknowledged survives the program that gave it; two programs at once lose nothing.

``soak_kill.py`` does the same with 200 kills.
"""

import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from diagnostics.cases import CaseStore
from tests.cases.invented import build_invented_case
from tests.cases.keep_appending import ACTS
from tests.cases.soak_kill import build_environment, soak, tell

KILLS = 10
EACH = 30


def test_nothing_acknowledged_is_lost_when_programs_are_killed(
    url: str, record_property: Callable[[str, object], None], capsys: pytest.CaptureFixture[str]
) -> None:
    soaked = soak(url, KILLS)
    record_property("figures", tell(soaked))
    with capsys.disabled():
        print(f"\n  {tell(soaked)}")  # noqa: T201 - the figures are the result
    assert soaked.fewest_a_kill >= 1
    assert set(soaked.kinds) == {kind for kind, _ in ACTS}
    assert (soaked.lost, soaked.doubled, soaked.is_sound) == ((), 0, True)
    # A program killed between commit and print leaves one act more than it told of; never more than one.
    assert soaked.acknowledged <= soaked.found <= soaked.acknowledged + KILLS


WRITER = """
import sys
from diagnostics.cases import CaseStore
from diagnostics.errors import CaseChangedError
from tests.cases.invented import build_volts
url, case_id, name, count = *sys.argv[1:4], int(sys.argv[4])
refused = number = 0
with CaseStore(url, patience_s=30.0) as store:
    revision = store.load_case(case_id).revision
    print("ready", flush=True)
    sys.stdin.readline()
    while number < count:
        try:
            revision = store.append_reading(case_id, build_volts(number, by=f"{name}{number}"), revision).revision
            number += 1
        except CaseChangedError as error:
            assert "reading volts" in str(error) and "nothing of yours was saved" in str(error), error
            refused += 1
            revision = store.load_case(case_id).revision
print(refused)
"""


def test_two_programs_that_write_at_once_lose_nothing_and_are_told_in_words(url: str, tmp_path: Path) -> None:
    with CaseStore(url) as store:
        case_id = store.create_case(build_invented_case()).case_id
    commands = [[sys.executable, "-c", WRITER, url, case_id, name, str(EACH)] for name in ("ann", "ben")]
    children = [
        subprocess.Popen(
            command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, env=build_environment(), text=True, cwd=tmp_path
        )
        for command in commands
    ]
    assert [child.stdout.readline() for child in children if child.stdout] == ["ready\n"] * 2  # on one revision
    refusals = [int(child.communicate("go\n", timeout=120)[0]) for child in children]
    assert [child.returncode for child in children] == [0, 0]
    with CaseStore(url) as store:
        kept = store.load_case(case_id)
    assert sorted(r.by for r in kept.readings) == sorted(f"{who}{n}" for who in ("ann", "ben") for n in range(EACH))
    assert kept.revision == 2 * EACH + 1
    assert sum(refusals) >= 1, "they never met: nothing is shown"
