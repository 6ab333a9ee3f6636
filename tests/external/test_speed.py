"""The speed measurement measures what it says; how fast is for reports, never a test."""

import pytest

from diagnostics.proving import measure_choice, measure_complaints, measure_speed, measure_suggestions
from diagnostics.proving.speed import SpeedRow, find_growth, measure_pairs
from diagnostics.reasoning import SYMPTOMS
from diagnostics.wiring import Style


@pytest.mark.ngspice
def test_speed_is_of_149_faults_in_three_modes(ngspice: str) -> None:
    (row,) = measure_speed((8,), ngspice)
    assert (row.detectors, row.circuits) == (8, 447)
    reading_s = row.ngspice_s - row.solving_s
    assert min(row.ours_s, row.ngspice_s, reading_s) > 0, "each was run; a busy machine may make reading look longest"


def test_pairs_that_go_together_are_settled_as_many_as_were_asked_for() -> None:
    count, taken_s = measure_pairs(5, 300)
    assert count == 300
    assert taken_s > 0


def test_growth_is_the_slope_of_time_over_size() -> None:
    rows = [SpeedRow(n, 1, 0.002 * n**1.5, 1.0, 1.0) for n in (8, 20, 64)]
    assert find_growth(rows) == pytest.approx(1.5)


def test_choosing_is_measured_with_and_without_a_plan() -> None:
    one_s, plan_s = measure_choice(60, 8)
    assert one_s > 0
    assert plan_s > 0


def test_waiting_for_a_suggestion_is_measured_on_every_style_beside_settling_its_faults() -> None:
    rows = measure_suggestions(2)
    assert [row.style for row in rows] == [str(style) for style in Style]
    for row in rows:
        assert row.settling_s > 0
        assert row.first_ratio == row.first_s / row.settling_s
        assert min(row.first_s, row.next_s, row.ahead_s) > 0, "there was a first suggestion, and a next one both ways"


def test_waiting_for_the_first_suggestion_is_measured_for_every_complaint() -> None:
    rows = measure_complaints("two_wire_zone", 2)
    assert [row.complaint for row in rows] == list(SYMPTOMS)
    for row in rows:
        assert min(row.hypotheses, row.measurements) > 1
        assert row.first_ratio == row.first_s / row.settling_s > 0
