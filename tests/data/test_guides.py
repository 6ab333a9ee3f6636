"""Every shipped finding guide: sound, proven on every shipped site, and a planted wrong branch is found."""

from functools import cache

import pytest

from diagnostics.locate import find_shipped
from diagnostics.proving import EVERYTHING, GuideProof, prove_guide
from diagnostics.readings import Bench
from diagnostics.source import read_file
from diagnostics.trees import Guide, check_part, list_guide_files, read_guide, read_shipped
from diagnostics.visit import build_bench
from diagnostics.wiring import read_site

FILES = [path for path in list_guide_files() if path.parent.name != "shared"]
PARTS = [path for path in list_guide_files() if path.parent.name == "shared"]
GUIDES = sorted(read_shipped())


@cache
def _benches() -> dict[str, Bench]:
    sites = sorted((find_shipped("cases") / "sites").glob("*.yaml"))
    return {path.stem: build_bench(read_site(path)) for path in sites}


@cache
def _prove(symptom: str) -> GuideProof:
    return prove_guide(read_shipped()[symptom], _benches())


@pytest.mark.parametrize("path", FILES, ids=lambda p: p.stem)
def test_guide_is_sound(path: object) -> None:
    assert read_guide(next(p for p in FILES if p == path)).ends


@pytest.mark.parametrize("path", PARTS, ids=lambda p: p.stem)
def test_part_is_sound(path: object) -> None:
    assert check_part(read_file(next(p for p in PARTS if p == path))) == ()


@pytest.mark.parametrize("symptom", GUIDES)
def test_every_fault_that_shows_the_complaint_reaches_an_end_that_names_it(symptom: str) -> None:
    proof = _prove(symptom)
    assert sum(p.means == EVERYTHING for p in proof.proofs) >= 15
    assert proof.wrong == ()


@pytest.mark.parametrize("symptom", GUIDES)
def test_every_way_is_taken_by_some_fault(symptom: str) -> None:
    assert _prove(symptom).unused == ()


@pytest.mark.parametrize("symptom", GUIDES)
def test_end_names_nothing_that_never_reaches_it(symptom: str) -> None:
    others = [set(_prove(other).idle) for other in GUIDES if other != symptom]
    shared = {idle for idle in _prove(symptom).idle if "." in idle.partition(":")[0]}
    ends = {end for other in GUIDES if other != symptom for end in read_shipped()[other].ends}
    used_elsewhere = {i for i in shared if i.partition(":")[0] in ends and any(i not in other for other in others)}
    assert set(_prove(symptom).idle) - used_elsewhere == set()


@pytest.mark.parametrize("symptom", GUIDES)
def test_hardly_a_reading_within_its_error_would_lead_astray(symptom: str) -> None:
    proof = _prove(symptom)
    assert len(proof.thin) <= 0.02 * len(proof.proofs)


def _turn(guide: Guide, step: str, number: int, goal: str) -> Guide:
    """Return a guide with one branch led somewhere else."""
    old = guide.steps[step]
    branches = [b.model_copy(update={"go": goal}) if n == number else b for n, b in enumerate(old.branches)]
    steps = guide.steps | {step: old.model_copy(update={"branches": tuple(branches)})}
    return Guide(guide.name, guide.symptom, guide.title, guide.about, guide.first, steps, guide.ends)


@pytest.mark.parametrize(
    ("symptom", "step", "number", "goal"),
    [
        ("constant_trouble", "zone_volts", 0, "loop_open"), ("constant_trouble", "zone_volts", 1, "panel_side"),
        ("constant_trouble", "dark", 1, "at_the_end"), ("none_report", "settings", 0, "first_run"),
        ("will_not_reset", "click", 0, "relay"), ("only_first_report", "lit", 0, "contact_pair"),
    ],
)  # fmt: skip
def test_planted_wrong_branch_is_found(symptom: str, step: str, number: int, goal: str) -> None:
    turned = prove_guide(_turn(read_shipped()[symptom], step, number, goal), _benches())
    sound = _prove(symptom)
    assert len(turned.wrong) > len(sound.wrong) or len(turned.unused) > len(sound.unused)
