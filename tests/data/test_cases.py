"""Every worked case that ships is right: read without a finding, and it ends at the fault that was planted."""

import re
from dataclasses import replace
from pathlib import Path

import pytest

from diagnostics.cases import read_case
from diagnostics.faults import parse_fault
from diagnostics.visit import assess_case
from diagnostics.wiring import build_loop, read_site
from tests.sampling import sample

CASES = sorted((Path(__file__).parents[2] / "cases").glob("*.yaml"))
SITES = sorted((Path(__file__).parents[2] / "cases" / "sites").glob("*.yaml"))


@pytest.mark.parametrize("path", SITES, ids=lambda p: p.stem)
def test_site_is_wired_and_marked_as_invented(path: Path) -> None:
    site = read_site(path)
    assert "(invented)" in site.name
    assert build_loop(site).detectors


@pytest.mark.parametrize("path", CASES, ids=lambda p: p.stem)
def test_worked_case_settles_on_the_planted_fault(path: Path) -> None:
    planted = re.search(r"with (\S+) planted", path.read_text("utf-8"))
    assert planted, "say in a comment which fault was planted"
    assessment = assess_case(read_case(path))
    fault = parse_fault(planted[1], assessment.loop)
    assert assessment.diagnosis.settled == fault.repair_class
    assert assessment.diagnosis.not_modelled < 0.05


@pytest.mark.parametrize("path", sample(CASES, 6), ids=lambda p: p.stem)
def test_each_reading_of_a_worked_case_is_the_one_that_was_asked_for(path: Path) -> None:
    case = read_case(path)
    guided = re.search(r"^# made by: .* --guide$", path.read_text("utf-8"), flags=re.MULTILINE) is not None
    for count, reading in enumerate(case.readings):
        asked = assess_case(replace(case, readings=case.readings[:count]), guided=guided).diagnosis.next
        assert asked is not None
        assert asked.measurement is not None
        assert (asked.measurement.kind, asked.measurement.mode.text) == (reading.measurement, reading.mode)
