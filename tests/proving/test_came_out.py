"""The bench of what comes out: measured in the referee's worlds where the cause is known, and where it is not."""

import json

import pytest

from diagnostics.cli.main import run
from diagnostics.faults import parse_fault
from diagnostics.proving.calibration import play_visits
from diagnostics.proving.came_out import prove_cause, tally_causes
from diagnostics.proving.unmodelled import End, Outsider, play_outsiders, tally_unmodelled
from diagnostics.reasoning import Candidate, Fitting
from diagnostics.referee import build_world, read_spreads
from tests.proving.test_calibration import stand_at


def prove(fault: str, suspected: str, **learnt: float) -> Fitting | None:
    """Return what is said where a fault is in a drawn world and another, or the same, had been suspected."""
    stand = stand_at("hill_hostel")
    world = build_world(stand.line, stand.site, fault, (5, 1), read_spreads().with_slips(0.0, 0.0))
    suspect = parse_fault(suspected, stand.bench.loop)
    return prove_cause(stand, world, [Candidate((suspect,), 1.0, suspect.repair_class, **learnt)], suspect.repair_class)


@pytest.mark.parametrize(
    ("fault", "suspected", "said"),
    [
        ("joint_resistive=700@det3.in+", "joint_resistive=700@det3.in+", "fits"),
        ("conductor_open@det3.in+", "conductor_open@det3.in+", "fits"),
        ("leak=1800@det3.in", "leak=1800@det3.in", "fits"),
        ("pair_short@det3.in", "pair_short@det3.in", "fits"),
        ("end_resistor_wrong=1000@end", "end_resistor_wrong=1k@end", "fits"),
        ("earth_fault=300@det3.in+", "earth_fault=300@det3.in+", "fits"),
        ("conductor_open@det3.in+", "joint_resistive=700@det3.in+", "does not fit"),
        ("healthy", "conductor_open@det3.in+", "does not fit"),
        ("healthy", "leak=1800@det3.in", "does not fit"),
        ("healthy", "end_resistor_wrong=1k@end", "does not fit"),
        ("detector_dead@det3", "detector_dead@det3", None),
    ],
)
def test_what_comes_out_of_a_drawn_world_fits_its_own_fault_and_no_other(
    fault: str, suspected: str, said: Fitting | None
) -> None:
    assert prove(fault, suspected) == said


def test_what_the_readings_made_of_a_joint_is_held_to_it() -> None:
    joint = "joint_resistive=1k@det3.in+"
    assert prove("joint_resistive=700@det3.in+", joint) == "fits"  # nobody has learnt its ohms: it may be any near
    assert prove("joint_resistive=700@det3.in+", joint, value_ohm=1000.0, value_share=0.02) == "does not fit"


def test_said_before_or_after_counts_what_was_measured_beside_what_was_said_before() -> None:
    def build(end: End, cause: Fitting | None = None) -> Outsider:
        return Outsider("malt_house", "cell_in_run", "constant_trouble", end, None, 3, cause)

    visits = [
        build("does not fit"), build("its place", "does not fit"), build("its place", "fits"), build("its place"),
        build("its place", "cannot tell"), build("wrongly"), build("undecided"), build("not modelled"),
    ]  # fmt: skip
    tally = tally_unmodelled(visits)
    assert (tally.said.value, tally.its_place.value, tally.wrongly.value) == (2 / 8, 4 / 8, 1 / 8)
    assert tally.said_by_then.value == 3 / 8


def test_false_alarms_are_a_share_of_what_was_measured() -> None:
    told: list[Fitting | None] = ["fits"] * 7
    told += ["does not fit", "cannot tell", "cannot tell", *[None] * 5]
    found = tally_causes(told)
    assert (found.fits.value, found.alarms.value, found.cannot_tell.value) == (0.7, 0.1, 0.2)
    assert found.alarms.count == 10
    assert found.alarms.low < 0.1 < found.alarms.high


def test_only_a_repair_that_reaches_the_effect_has_anything_come_out() -> None:
    visits = play_outsiders(stand_at("bottling_hall"), count=6, seed=3)
    assert {v.end for v in visits if v.cause is not None} == {"its place"}
    assert all(v.settled is not None and v.settled[1].startswith("run ") for v in visits if v.cause is not None)


def test_only_a_right_repair_has_its_cause_proved() -> None:
    told = play_visits(stand_at("malt_house"), count=12, seed=2, wide=False)
    assert any(v.cause for v in told)
    assert all(v.right for v in told if v.cause)


def test_the_bench_tells_what_was_said_by_then_and_the_false_alarms(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    assert run(("bench", "unmodelled", "--style", "dry_contacts", "--count", "1", "--json")) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["rows"]["every effect"]["said_by_then"]["count"] == 2
    assert set(told["catalogued"]) == {"fits", "alarms", "cannot_tell"}
    monkeypatch.setattr("diagnostics.proving.calibration.play_calibration", lambda *_, **__: [])
    assert run(("bench", "unmodelled", "--style", "dry_contacts", "--count", "1", "--json")) == 0
    assert json.loads(capsys.readouterr().out)["catalogued"] is None
    monkeypatch.undo()
    assert run(("bench", "unmodelled", "--style", "dry_contacts", "--count", "2")) == 0
    shown = capsys.readouterr().out
    assert "said before or after the repair" in shown
    assert "said not to fit what was suspected" in shown
