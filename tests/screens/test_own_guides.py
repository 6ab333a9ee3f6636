"""Guides of one's own: a folder of them takes the place of the shipped ones, and is checked before the app opens."""

from pathlib import Path

import pytest

from diagnostics.cases import CaseStore
from diagnostics.cli.main import run
from diagnostics.errors import NotFoundError, SourceError
from diagnostics.trees import OWN_GUIDES, find_guide, read_own, read_shipped
from diagnostics.visit import assess_case
from tests.screens.conftest import Visitor
from tests.screens.test_guide import open_visit

OWN = """format: ohmward-guide/1
symptom: constant_trouble
title: The way of the firm (invented)
about: The far end first.
first: far
steps:
  far:
    measure: volts
    across: last
    say: We climb first.
    branches:
      - {when: right, go: near}
    otherwise: field
ends:
  near: {suspects: [zone_resistor_setting], say: The panel then.}
  field: {suspects: [conductor_open, end_resistor_missing], say: The field then.}
"""


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Return a folder with one guide of one's own, for trouble all the time."""
    (tmp_path / "trouble.yaml").write_text(OWN, "utf-8")
    monkeypatch.setenv(OWN_GUIDES, str(tmp_path))
    return tmp_path


def test_own_guide_takes_the_place_of_the_shipped_one_for_its_complaint_alone(folder: Path) -> None:
    found = find_guide("constant_trouble")
    assert found == read_own(folder)["constant_trouble"]
    assert found is not None
    assert found.title == "The way of the firm (invented)"
    assert find_guide("will_not_reset") is read_shipped()["will_not_reset"]


@pytest.mark.usefixtures("folder")
def test_own_guide_leads_on_the_screen(store: CaseStore) -> None:
    case = open_visit(store, "bakery", "constant_trouble")
    guidance = assess_case(case, guided=True).guidance
    assert guidance is not None
    assert guidance.walk.at == "far"
    shown = Visitor(store, case.case_id)
    assert "Finding guide: The way of the firm (invented)" in shown.text
    assert "We climb first." in shown.text


def test_two_guides_for_one_complaint_are_refused_by_name(folder: Path) -> None:
    (folder / "again.yaml").write_text(OWN, "utf-8")
    with pytest.raises(SourceError, match="a second guide for 'constant_trouble', beside"):
        read_own(folder / ".")


def test_what_is_wrong_in_all_of_them_is_told_at_once(tmp_path: Path) -> None:
    for n in (1, 2):
        (tmp_path / f"{n}.yaml").write_text(OWN.replace("go: near", "go: nowhere"), "utf-8")
    with pytest.raises(SourceError) as told:
        read_own(tmp_path)
    assert {Path(f.file).name for f in told.value.findings} == {"1.yaml", "2.yaml"}


@pytest.mark.parametrize(
    ("text", "told"),
    [
        (None, "no finding guide in"),
        ("", "own.yaml:1:1: error"),
        (OWN.replace("conductor_open", "conductor_gone"), "own.yaml:16:22: error T111 no kind of fault"),
    ],
)
def test_app_does_not_open_with_guides_that_cannot_be_followed(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], text: str | None, told: str
) -> None:
    if text is not None:
        (tmp_path / "own.yaml").write_text(text, "utf-8")
    assert run(["app", "--headless", "--port", "1", "--guides", str(tmp_path)]) == 1
    said = capsys.readouterr()
    assert "opens at" not in said.out
    assert told in said.err


def test_no_such_folder_is_said(tmp_path: Path) -> None:
    with pytest.raises(NotFoundError, match="no folder"):
        read_own(tmp_path / "none")
