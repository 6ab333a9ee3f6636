"""The speed measurement measures what it says; how fast is for reports, never a test."""

import pytest

from diagnostics.proving import measure_speed


@pytest.mark.ngspice
def test_speed_is_of_149_faults_in_three_modes(ngspice: str) -> None:
    (row,) = measure_speed((8,), ngspice)
    assert (row.detectors, row.circuits) == (8, 447)
    assert row.ours_s > 0
    assert row.ngspice_s > row.solving_s > 0, "reading takes time, and so does solving"
