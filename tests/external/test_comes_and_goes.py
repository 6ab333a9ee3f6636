"""A fault that comes and goes, played by the referee: what is read while it is away is that of the same sound loop.

Common practice, no source: an intermittent fault is chased by what is read while it is there, by what the panel logged
and by MIN/MAX over a night. What shows while it is away is held against the referee's own sound world, not the engine.
"""

import json
from dataclasses import replace

import pytest

from diagnostics.cli.main import run
from diagnostics.locate import find_shipped
from diagnostics.referee import Person, Plant, Row, build_world, list_sites, play_visit
from diagnostics.referee.answers import LASTING
from tests.external.referee_line import open_line

SITE = list_sites("two_wire_zone")[0]
OPEN = Plant(SITE, "conductor_open@det2.in+", "aged", (3,), there=0.4)


def list_rows(*kinds: str) -> list[Row]:
    return [row for row in open_line().list_rows("measurements", SITE) if row["measurement"] in kinds]


def read_often(plant: Plant, row: Row, count: int = 60) -> list[tuple[bool, str]]:
    wide = build_world(open_line(), SITE, plant.fault, plant.seed).spreads.with_slips(0.0, 0.0)
    person = Person(build_world(open_line(), SITE, plant.fault, plant.seed, wide), plant)
    told = []
    for _ in range(count):
        shown = person.read(row)
        told.append((person.away, shown))
    return told


def test_away_it_reads_as_a_sound_loop_and_there_as_the_fault() -> None:
    row = next(r for r in list_rows("volts") if r["red"] == "panel.zone1+" and r["mode"] == "standby")
    told = read_often(OPEN, row)
    (sound,) = {shown for _, shown in read_often(replace(OPEN, fault="healthy", there=1.0), row, 1)}
    (broken,) = {shown for _, shown in read_often(replace(OPEN, there=1.0), row, 1)}
    assert sound != broken
    assert {shown for away, shown in told if away} == {sound}
    assert {shown for away, shown in told if not away} == {broken}
    assert sum(away for away, _ in told) / len(told) == pytest.approx(0.6, abs=0.2)


@pytest.mark.parametrize("kind", LASTING)
def test_what_lasts_shows_it_whether_it_is_there_or_not(kind: str) -> None:
    row = list_rows(kind)[0]
    told = read_often(OPEN, row, 12)
    assert {away for away, _ in told} == {False}
    assert {shown for _, shown in told} == {shown for _, shown in read_often(replace(OPEN, there=1.0), row, 1)}


def test_a_visit_marks_what_was_read_while_it_was_away_and_still_ends() -> None:
    visit = play_visit(open_line(), OPEN, "ours")
    away = [step for step in visit.steps if step.result.endswith(", the fault away")]
    assert away
    assert visit.right
    assert visit.restored


def test_rehearse_takes_a_percentage_and_refuses_what_is_none(capsys: pytest.CaptureFixture[str]) -> None:
    site = str(find_shipped("cases") / "sites" / "boathouse.yaml")
    words = ("rehearse", site, "--fault", "conductor_open@det3.in+", "--seed", "2")
    assert run((*words, "--there", "40", "--json")) == 0
    told = json.loads(capsys.readouterr().out)
    assert any("the fault away" in step["result"] for step in told["steps"])
    for wrong in ("0", "140", "often"):
        assert run((*words, "--there", wrong)) == 2
        assert "write 40" in capsys.readouterr().err
