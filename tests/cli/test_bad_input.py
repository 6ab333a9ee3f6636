"""Files that are no files, and streams that break: a finding, an exit code, and nothing written."""

import io
import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from diagnostics.cli.main import run
from diagnostics.locate import find_shipped

ROOT = Path(__file__).resolve().parents[2]
SITE = find_shipped("cases") / "sites" / "bakery.yaml"
CASE = find_shipped("cases") / "bakery_call.yaml"
BAD = {
    "empty": b"",
    "blank": b"\n\n   \n",
    "comment": b"# nothing\n",
    "binary": bytes(range(256)) * 20,
    "zeros": b"\0" * 5000,
    "huge": b"a: b\n" * 250_000,
    "latin": "format: ohmward-site/1\nname: caf\u00e9\n".encode("latin-1"),
    "utf16": "format: ohmward-site/1\n".encode("utf-16"),
    "list": b"- 1\n- 2\n",
    "word": b"hello\n",
    "tabs": b"format:\tohmward-site/1\n",
    "brackets": b"[" * 5000,
    "alias": b"a: &x 1\nb: *x\n",
    "twice": b"format: ohmward-site/1\nformat: ohmward-site/1\n",
    "other": b"format: ohmward-tree/9\n",
}
COMMANDS = {"check": (), "diagnose": (), "predict": (), "export": ("--netlist",), "list": ("places",)}


def build_words(command: str, name: str) -> list[str]:
    extra = COMMANDS[command]
    return [command, *extra, name] if command == "list" else [command, name, *extra]


@pytest.mark.parametrize("bad", BAD)
@pytest.mark.parametrize("command", COMMANDS)
def test_file_that_cannot_be_is_a_finding_with_its_name(
    command: str, bad: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / f"{bad}.yaml"
    path.write_bytes(BAD[bad])
    assert run(build_words(command, str(path))) == 1
    out, err = capsys.readouterr()
    assert out == ""
    assert err.startswith(f"{path.as_posix()}:")
    assert "Traceback" not in err
    assert [p.name for p in tmp_path.iterdir()] == [path.name]


@pytest.mark.parametrize("command", ["check", "diagnose"])
def test_reading_that_no_form_takes_is_a_finding_at_its_line(
    command: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    row = "{measurement: volts, red: panel.zone1+, black: panel.zone1-, value: 1e99 V"
    for kept, told in (("", "'1e99 V' is too large"), (", understood: {value: 1e99, unit: V}", "1e99 V is too large")):
        path = tmp_path / "case.yaml"
        path.write_text(f"format: ohmward-case/1\nsite: bench_two_wire\nreadings:\n  - {row}{kept}}}\n", "utf-8")
        assert run([command, str(path)]) == 1
        out, err = capsys.readouterr()
        assert out == ""
        assert err.startswith(f"{path.as_posix()}:4:")
        assert told in err


@pytest.mark.parametrize("bad", BAD)
def test_stream_that_cannot_be_is_a_finding_of_standard_input(
    bad: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(BAD[bad])))
    assert run(["check", "-", "--json"]) == 1
    out, err = capsys.readouterr()
    assert err == ""
    findings = json.loads(out)["findings"]
    assert findings
    assert {f["file"] for f in findings} == {"<stdin>"}


@pytest.mark.parametrize("command", COMMANDS)
def test_folder_and_missing_file_are_findings(command: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for path, told in ((tmp_path, "this is a folder"), (tmp_path / "none.yaml", "there is no such file")):
        assert run(build_words(command, str(path))) == 1
        assert told in capsys.readouterr().err


def test_name_longer_than_any_file_is_a_finding(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["check", "x" * 5000]) == 1
    assert capsys.readouterr().err
    assert run(["predict", "nul\0name"]) == 1


def test_check_tells_of_every_file_at_once(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text = SITE.read_text("utf-8")
    (tmp_path / "a.yaml").write_text(text.replace("panel_24v", "panel_24x"), "utf-8")
    (tmp_path / "b.yaml").write_text(text.replace("panel_24v", "panel_24v\n  values: {open_from_v: 3 V}"), "utf-8")
    (tmp_path / "c.yaml").write_text(text, "utf-8")
    (tmp_path / "d.yaml").write_text(CASE.read_text("utf-8").replace("sites/bakery.yaml", "sites/bakry.yaml"), "utf-8")
    assert run(["check", "--json", *(str(tmp_path / f"{n}.yaml") for n in "abcd"), str(tmp_path / "e.yaml")]) == 1
    findings = json.loads(capsys.readouterr().out)["findings"]
    assert [(Path(f["file"]).name, f["code"]) for f in findings] == [
        ("a.yaml", "S020"), ("b.yaml", "S021"), ("d.yaml", "C001"), ("e.yaml", "Y001"),
    ]  # fmt: skip
    assert (findings[0]["line"], findings[0]["column"]) == (5, 12)


def test_case_and_site_are_read_from_standard_input(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    case = CASE.read_text("utf-8").replace("sites/bakery.yaml", "bakery")
    for words, text in ((["diagnose", "-"], case), (["predict", "-"], SITE.read_text("utf-8")), (["check", "-"], case)):
        monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(text.encode("utf-8"))))
        assert run(words) == 0, capsys.readouterr().err
        assert capsys.readouterr().out


def start(*words: str, cwd: Path, **environment: str) -> "subprocess.CompletedProcess[bytes]":
    """Run the program as people do, in a process of its own."""
    return subprocess.run(
        [sys.executable, "-m", "diagnostics.cli.main", *words], cwd=cwd, capture_output=True, timeout=120, check=False,
        env={**os.environ, "PYTHONPATH": str(ROOT), **environment},
    )  # fmt: skip


def test_terminal_of_any_encoding_gets_the_same_bytes(tmp_path: Path) -> None:
    plain = start("predict", "bakery", cwd=tmp_path, PYTHONIOENCODING="utf-8")
    ascii_only = start("predict", "bakery", cwd=tmp_path, PYTHONIOENCODING="ascii")
    other_seed = start("predict", "bakery", cwd=tmp_path, LC_ALL="C", PYTHONHASHSEED="7")
    assert plain.returncode == ascii_only.returncode == other_seed.returncode == 0
    assert "±".encode() in plain.stdout
    assert plain.stdout == ascii_only.stdout == other_seed.stdout
    assert list(tmp_path.iterdir()) == []


def test_diagnosis_is_the_same_bytes_in_every_process(tmp_path: Path) -> None:
    once, again = (start("diagnose", str(CASE), "--json", cwd=tmp_path, PYTHONHASHSEED=seed) for seed in ("1", "2"))
    assert once.returncode == 0
    assert once.stdout == again.stdout


@pytest.mark.parametrize("words", [("list", "contexts"), ("list", "profiles", "--json")])
def test_reader_that_goes_away_is_no_error(words: tuple[str, ...], tmp_path: Path) -> None:
    """One answer that fits into the buffer, and one that does not."""
    reader, writer = os.pipe()
    os.close(reader)
    try:
        done = subprocess.run(
            [sys.executable, "-m", "diagnostics.cli.main", *words], cwd=tmp_path, stdout=writer, stderr=subprocess.PIPE,
            timeout=120, check=False, env={**os.environ, "PYTHONPATH": str(ROOT), "PYTHONUNBUFFERED": ""},
        )  # fmt: skip
    finally:
        os.close(writer)
    assert (done.returncode, done.stderr) == (0, b"")


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("--fault", "conductor_open@det2.in+,detector_dead@det5"), "one fault at a time"),
        (("--fault", "conductor_open@det2.in+", "--seed", "-1"), "0 or more"),
    ],
)
def test_rehearsal_that_cannot_be_is_refused_in_words(
    words: tuple[str, ...], told: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["rehearse", "bakery", *words]) == 2
    assert told in capsys.readouterr().err


def test_rehearsal_reads_a_site_however_its_loops_are_written(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    site = tmp_path / "flow.yaml"
    loop = "{zone: zone1, style: two_wire_zone, count: 2, end_resistor: {resistance: 4.7 kΩ}}"
    zones = "zones: {zone1: {senses: fire, end_resistor: 4.7 kΩ}}"
    head = "format: ohmward-site/1\nname: Flow (invented)\npanel: {profile: panel_24v}\n"
    site.write_text(f"{head}{zones}\nloops:\n  - {loop}\n", encoding="utf-8")
    assert run(["rehearse", str(site), "--fault", "end_resistor_missing@end"]) == 0
    assert "restored" in capsys.readouterr().out


@pytest.mark.parametrize("address", ["home.example", "127.0.0", "8501"])
def test_address_that_is_none_is_refused(address: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["app", "--address", address]) == 2
    told = capsys.readouterr().err
    assert "--address" in told
    assert "is no IP address of this machine; write for example" in told


def test_whoever_lets_others_in_is_told_what_they_can_do(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    begun: list[list[str]] = []

    def begin(command: list[str], _: Path) -> int:
        begun.append(command)
        return 0

    monkeypatch.setattr("diagnostics.cli.serve._run_child", begin)
    assert run(["app"]) == 0
    assert "--server.address=127.0.0.1" in begun[-1]
    assert capsys.readouterr().err == ""
    assert run(["app", "--address", "0.0.0.0"]) == 0  # noqa: S104 - refused nowhere, but told
    assert "--server.address=0.0.0.0" in begun[-1]
    told = capsys.readouterr()
    assert "can read and change every case" in told.err
    assert "http://localhost:8501" in told.out
