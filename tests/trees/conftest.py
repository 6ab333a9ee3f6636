"""Loops to walk guides on."""

from pathlib import Path

import pytest

from diagnostics.locate import find_shipped
from diagnostics.readings import Bench
from diagnostics.visit import build_bench
from diagnostics.wiring import read_site

SITES = {path.stem: path for path in sorted((find_shipped("cases") / "sites").glob("*.yaml"))}


@pytest.fixture(scope="session")
def bakery() -> Bench:
    """Return eight two-wire detectors on a zone."""
    return build_bench(read_site(SITES["bakery"]))


@pytest.fixture(scope="session")
def boathouse() -> Bench:
    """Return four-wire detectors with a supervision relay, fed through a reset relay."""
    return build_bench(read_site(SITES["boathouse"]))


@pytest.fixture(scope="session")
def greenhouse() -> Bench:
    """Return a module with a four-wire loop, fed from a separate supply through a reset relay."""
    return build_bench(read_site(SITES["greenhouse"]))


@pytest.fixture(scope="session")
def hostel() -> Bench:
    """Return two loops of four-wire detectors on one supply."""
    return build_bench(read_site(SITES["hostel"]))


@pytest.fixture
def small_guide(tmp_path: Path) -> Path:
    """Return the file of a small sound guide, to be spoilt."""
    path = tmp_path / "small.yaml"
    path.write_text(SMALL, "utf-8")
    return path


SMALL = """format: ohmward-guide/1
symptom: constant_trouble
title: The panel shows trouble all the time
about: Two steps and three ends.
first: real
steps:
  real:
    ask: Is there smoke?
    usual: 'no'
    branches:
      - {when: 'no', go: zone_volts}
    otherwise: emergency
  zone_volts:
    measure: volts
    across: zone
    branches:
      - {when: right, go: panel_side}
      - {when: below 1 V, go: field}
    otherwise: field
    cannot: field
ends:
  emergency: {stop: 'yes', say: Everybody out.}
  panel_side:
    suspects: [zone_resistor_setting, zone_input_damaged]
    say: The field is right.
  field:
    suspects: [end_resistor_missing, end_resistor_wrong, conductor_open]
    say: {technician: Something in the field., caller: A technician has to look.}
"""
