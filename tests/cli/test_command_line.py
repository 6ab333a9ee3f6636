"""Every command: one JSON object or plain lines, the exit codes, and nothing written anywhere (design page, 11)."""

import json
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import pytest

from diagnostics.cli.commands import NEEDS_SITE
from diagnostics.cli.main import LISTS, run
from diagnostics.locate import find_shipped
from diagnostics.proving import ComplaintRow, SuggestionRow
from diagnostics.proving.plans import PlanRow
from diagnostics.trees import list_guide_files
from tests.sampling import sample

Object = dict[str, Any]
Ask = Callable[..., tuple[int, str, str]]
SITES = sorted(path.stem for path in (find_shipped("cases") / "sites").glob("*.yaml"))
BENCH = "bench_four_wire"
# They say so themselves: no supervision relay, or nothing that resets.
SILENT_DEFECTS = {"bench_four_wire_bare", "chapel", "creamery", "ferry", "greenhouse", "ticket_hall"}
CASE = str(find_shipped("cases") / "bakery_call.yaml")
SITE = str(find_shipped("cases") / "sites" / "bakery.yaml")
GUIDES = [str(path) for path in list_guide_files()]
COMMANDS = [
    ("check", SITE, CASE),
    ("check", str(Path(SITE).with_name("bench_dry_contacts.yaml")), "--testability"),
    (
        "learn-panel",
        "--open",
        "24 V",
        "--known",
        "4k7",
        "19.79 V",
        "--known",
        "2k2",
        "16.5 V",
        "--shows",
        "1k",
        "normal",
    ),
    ("check", *GUIDES),
    ("diagnose", CASE),
    ("diagnose", CASE, "--guide"),
    ("predict", BENCH),
    ("predict", BENCH, "--mode", "lifted_supply_on", "--fault", "end_resistor_missing@end"),
    ("export", BENCH),
    *(("list", what, BENCH) for what in LISTS),
]


@pytest.fixture
def ask(capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Ask:
    """Run a command in an empty folder and return code, stdout and stderr; nothing may be left in the folder."""
    empty = tmp_path / "empty"
    empty.mkdir()
    monkeypatch.chdir(empty)

    def run_it(*words: str) -> tuple[int, str, str]:
        code = run(words)
        assert list(empty.iterdir()) == []
        return code, *capsys.readouterr()

    return run_it


def read_object(ask: Ask, *words: str) -> Object:
    code, out, err = ask(*words, "--json")
    assert (code, err) == (0, "")
    found: Object = json.loads(out)
    return found


@pytest.mark.parametrize("words", COMMANDS, ids=" ".join)
def test_json_is_one_object_with_its_format_and_nothing_else(ask: Ask, words: tuple[str, ...]) -> None:
    first = ask(*words, "--json")
    assert first[0] == 0
    assert first[2] == ""
    assert json.loads(first[1])["format"].startswith("ohmward-")
    assert json.loads(first[1])["format"].endswith("/1")
    assert "NaN" not in first[1]
    assert "Infinity" not in first[1]
    assert ask(*words, "--json") == first


@pytest.mark.parametrize("words", [*COMMANDS, ("export", BENCH, "--netlist"), ("demo",)], ids=" ".join)
def test_plain_answer_is_the_same_each_time(ask: Ask, words: tuple[str, ...]) -> None:
    first = ask(*words)
    if words[0] == "export" and "--netlist" not in words:
        assert first[0] == 2
        assert "either --json or --netlist" in first[2]
        return
    assert first[0] == 0
    assert first[1].strip()
    assert ask(*words) == first


def test_prediction_has_the_keys_that_are_promised(ask: Ask) -> None:
    found = read_object(ask, "predict", BENCH, "--mode", "alarm:det3")
    assert found["panel"] == {"zone1": "alarm"}
    assert found["states"]["det3"] == "latched"
    assert found["states"]["det2"] == "powered"
    assert found["earth"] == "right"
    volts = [r for r in found["readings"] if r["measurement"] == "volts"]
    assert {(r["red"], r["black"]) for r in volts} >= {("panel.zone1+", "panel.zone1-"), ("det3.in+", "det3.in-")}
    for r in volts:
        assert {"measurement", "red", "black", "mode", "value", "ideal", "sd", "unit"} <= r.keys()
        assert (r["mode"], r["unit"]) == ("alarm:det3", "V")
        assert r["sd"] >= 0


def test_over_range_is_ol_and_not_known_is_null(ask: Ask) -> None:
    lifted = read_object(ask, "predict", BENCH, "--mode", "lifted_supply_on", "--fault", "end_resistor_missing@end")
    ohms = [r for r in lifted["readings"] if r["measurement"] == "ohms"]
    assert [(r["value"], r["ideal"], r["unit"]) for r in ohms] == [("OL", "OL", "ohm")] * 2
    held = read_object(ask, "predict", "bench_two_wire", "--mode", "during_reset")
    assert held["panel"] == {"zone1": None}


def test_one_pair_of_terminals_can_be_asked_for(ask: Ask) -> None:
    found = read_object(ask, "predict", BENCH, "--at", "reset.nc,panel.aux-")
    volts = [r for r in found["readings"] if r["measurement"] == "volts"]
    assert [(r["red"], r["black"]) for r in volts] == [("reset.nc", "panel.aux-")]


@pytest.fixture
def early_case(tmp_path: Path) -> str:
    """Write an invented case of which only the complaint is known."""
    path = tmp_path / "early.yaml"
    path.write_text("format: ohmward-case/1\nsite: bakery\nsymptom: constant_trouble\nreadings: []\n", "utf-8")
    return str(path)


def test_diagnosis_has_the_keys_that_are_promised(ask: Ask, early_case: str) -> None:
    found = read_object(ask, "diagnose", early_case)
    assert {"candidates", "not_modelled", "groups", "settled", "contradiction", "next", "verdict"} <= found.keys()
    for c in found["candidates"]:
        assert {"fault", "kind", "place", "probability", "words"} <= c.keys()
    shares = [c["probability"] for c in found["candidates"]]
    assert shares == sorted(shares, reverse=True)
    assert 0.99 < sum(shares) + found["not_modelled"] < 1.001
    assert all(
        {"members", "probability", "d_prime", "split_by"} <= g.keys() and g["d_prime"] < 2 for g in found["groups"]
    )
    assert found["settled"] is False
    assert found["verdict"] is None
    step = found["next"]
    assert step["action"] == "measure"
    assert {"measurement", "mode", "minutes", "why", "expected", "cautions"} <= step.keys()
    assert {"at"} <= step.keys() or {"red", "black"} <= step.keys()
    for e in step["expected"]:
        assert {"for", "state"} == e.keys() or {"for", "low", "high", "unit"} == e.keys()


def test_lamp_is_told_only_where_it_shows_anything(ask: Ask, tmp_path: Path) -> None:
    text = (find_shipped("cases") / "sites" / f"{BENCH}.yaml").read_text("utf-8")
    site = tmp_path / "dark.yaml"
    site.write_text(
        text.replace("profile: smoke_four_wire}", "profile: smoke_four_wire, values: {lamp: dark}}"), "utf-8"
    )
    for path, count in ((BENCH, 4), (str(site), 0)):
        readings = read_object(ask, "predict", path)["readings"]
        assert sum(r["measurement"] == "lamp" for r in readings) == count


def test_settled_case_has_its_verdict_and_its_repair_its_cautions(ask: Ask) -> None:
    found = read_object(ask, "diagnose", CASE)
    if not found["settled"]:
        pytest.fail("the shipped case must end settled")
    assert {"remedy", "place", "words", "minutes", "parts", "after"} <= found["verdict"].keys()
    assert found["next"]["action"] == "repair"
    assert len(found["next"]["cautions"]) >= 5
    text = ask("diagnose", CASE)[1]
    assert all(f"Caution: {caution}" in text for caution in found["next"]["cautions"])


def test_guide_leads_from_its_steps_to_its_end(ask: Ask, early_case: str) -> None:
    asked = read_object(ask, "diagnose", early_case, "--guide")
    assert {k: asked["guide"][k] for k in ("name", "at", "reached")} == {
        "name": "constant_trouble", "at": "zone_volts", "reached": "step",
    }  # fmt: skip
    assert (asked["next"]["measurement"], asked["next"]["red"]) == ("volts", "panel.zone1+")
    ended = read_object(ask, "diagnose", CASE, "--guide")["guide"]
    assert (ended["at"], ended["reached"]) == ("break_between", "end")
    assert ended["say"].startswith("The break lies just before the first dark detector")
    assert ask("diagnose", CASE, "--guide")[1].startswith("Guide constant_trouble, at its end break_between: The")


def test_guide_stands_in_the_answer_only_where_it_was_asked_for(ask: Ask, tmp_path: Path) -> None:
    assert "guide" not in read_object(ask, "diagnose", CASE)
    case = tmp_path / "dark.yaml"
    case.write_text("format: ohmward-case/1\nsite: bakery\nsymptom: alarm_with_nothing_there\nreadings: []\n", "utf-8")
    assert read_object(ask, "diagnose", str(case), "--guide")["guide"] is None
    assert ask("diagnose", str(case), "--guide")[1].startswith("Guide: there is none for this complaint")


def test_suggestion_is_a_reading_that_a_case_file_takes(ask: Ask, tmp_path: Path, early_case: str) -> None:
    step = read_object(ask, "diagnose", early_case)["next"]
    where = {k: step[k] for k in ("measurement", "red", "black", "at", "mode") if k in step}
    value = {"volts": "19.1 V", "ohms": "4.7 k"}.get(step["measurement"])
    listed = read_object(ask, "list", "measurements", "bakery")["rows"]
    row = next(r for r in listed if where.items() <= r.items())
    reading = json.dumps({**where, "value": value or row["answers"][0]})
    case = tmp_path / "next.yaml"
    case.write_text(f"format: ohmward-case/1\nsite: bakery\nreadings: [{reading}]\n", "utf-8")
    assert ask("check", str(case)) == (0, "1 file checked, nothing found\n", "")


def test_export_holds_a_whole_circuit(ask: Ask) -> None:
    found = read_object(ask, "export", BENCH, "--fault", "leak=1k@det2.in_contact")
    assert {"terminals", "elements", "loads", "states", "panel", "measurements", "meter"} <= found.keys()
    known = set(found["terminals"])
    for e in found["elements"]:
        assert {"name", "type", "a", "b", "value", "unit", "sd"} <= e.keys()
        assert {e["a"], e["b"]} <= known
        assert e["value"] > 0
    for load in found["loads"]:
        assert {"a", "b", "points"} <= load.keys()
        volts = [v for v, _ in load["points"]]
        assert volts == sorted(volts)
    assert any(e["value"] == 1000.0 for e in found["elements"])
    for m in found["measurements"]:
        assert {m["red_terminal"], m["black_terminal"]} <= known
    bands = found["panel"]["zone1"]
    assert bands[0]["low"] is None
    assert bands[-1]["high"] is None


@pytest.mark.parametrize("what", LISTS)
def test_list_names_every_word_once(ask: Ask, what: str) -> None:
    found = read_object(ask, "list", what, BENCH)
    assert found["what"] == what
    assert found["rows"]
    rows = [json.dumps(row, sort_keys=True) for row in found["rows"]]
    assert len(set(rows)) == len(rows)


def test_words_that_are_listed_are_taken(ask: Ask) -> None:
    for row in read_object(ask, "list", "modes", BENCH)["rows"]:
        mode = row["mode"].replace("RESISTANCE", "4k7")
        assert ask("predict", BENCH, "--mode", mode, "--json")[0] == 0
    for row in read_object(ask, "list", "kinds", BENCH)["rows"]:
        if row["places"]:
            value = "=1k" if row["value_unit"] else ""
            assert ask("predict", BENCH, "--fault", f"{row['kind']}{value}@{row['places'][0]}", "--json")[0] == 0


@pytest.mark.parametrize("site", sample(SITES, 3))
def test_shipped_site_is_sound_and_found_by_its_name(ask: Ask, site: str) -> None:
    code, _, err = ask("check", str(find_shipped("cases") / "sites" / f"{site}.yaml"))
    assert code == int(site in SILENT_DEFECTS)
    assert {line.split()[1] for line in err.splitlines()} <= {"warning", "note"}
    assert ask("predict", site, "--json")[0] == 0


def test_check_tells_the_design_of_a_site_and_a_note_alone_is_no_failure(ask: Ask) -> None:
    path = find_shipped("cases") / "sites" / "mill.yaml"
    found = read_object(ask, "check", str(path))
    ((code, severity, line),) = [(f["code"], f["severity"], f["line"]) for f in found["findings"]]
    assert (code, severity) == ("D202", "note")
    assert "resettable_output" in path.read_text("utf-8").splitlines()[line - 1]
    ((name, rows),) = [(d["file"], d["rows"]) for d in found["design"]]
    assert name == str(path)
    (load,) = [r for r in rows if (r["check"], r["condition"]) == ("load", "alarm")]
    assert (load["at"], load["ceiling"], load["unit"], load["verdict"]) == ("switched", 0.1, "A", "thin")
    out, err = ask("check", str(path))[1:]
    assert "Load of the switched auxiliary output, with all in alarm: 89.7 mA (122 mA); at most 100 mA" in out
    assert out.endswith("1 file checked, 1 found\n")
    assert f"{path}:{line}:" in err


def test_check_fails_a_site_whose_warning_is_true_and_names_its_place(ask: Ask) -> None:
    path = find_shipped("cases") / "sites" / "ferry.yaml"
    code, out, err = ask("check", str(path), "--json")
    ((line, column),) = [(f["line"], f["column"]) for f in json.loads(out)["findings"]]
    assert (code, err) == (1, "")
    assert path.read_text("utf-8").splitlines()[line - 1][column - 1 :] == "always_on"


@pytest.mark.parametrize(
    ("words", "hint"),
    [
        (("predict", BENCH, "--fault", "conductor_opn@det3.in+"), "did you mean 'conductor_open'?"),
        (("predict", BENCH, "--fault", "conductor_open@det33.in+"), "did you mean 'det3.in+'?"),
        (("predict", BENCH, "--mode", "stanby"), "did you mean 'standby'?"),
        (("predict", BENCH, "--mode", "alarm:det9"), "det1 to det4"),
        (("predict", BENCH, "--at", "x,y"), "panel.zone1+,panel.zone1-"),
        (("predict", "bakry"), "did you mean the shipped site 'bakery'?"),
        (("export", "boat_house", "--json"), "did you mean the shipped site 'boathouse'?"),
        (("diagnose", "nowhere.yaml"), ""),
    ],
)
def test_word_that_is_not_known_is_a_finding(ask: Ask, words: tuple[str, ...], hint: str) -> None:
    code, out, err = ask(*words)
    if "--json" not in words:
        assert (code, out) == (1, "")
        assert hint in err
        code, out, err = ask(*words, "--json")
    assert (code, err) == (1, "")
    (finding,) = json.loads(out)["findings"]
    assert finding.keys() >= {"file", "line", "column", "code", "message", "hint"}
    assert hint in finding["hint"]


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("diagnos", CASE), "did you mean 'diagnose'?"),
        (("list", "kind"), "did you mean 'kinds'?"),
        (("list",), "what"),
        (("check",), "FILE"),
        (("predict",), "SITE"),
        (("predict", BENCH, "--fualt", "x"), "--fualt"),
        (("export", BENCH), "either --json or --netlist"),
        (("export", BENCH, "--json", "--netlist"), "either --json or --netlist"),
        (("app", "--port", "many"), "port"),
        *((("list", what), "name a site") for what in sorted(NEEDS_SITE)),
        *((("list", what, "--json"), "name a site") for what in sorted(NEEDS_SITE)),
    ],
)  # fmt: skip
def test_wrong_use_is_two_and_keeps_stdout_clean(ask: Ask, words: tuple[str, ...], told: str) -> None:
    code, out, err = ask(*words)
    assert (code, out) == (2, "")
    assert told in err


@pytest.mark.parametrize("words", [("--help",), ("predict", "--help")])
def test_help_is_no_mistake(ask: Ask, words: tuple[str, ...]) -> None:
    code, out, err = ask(*words)
    assert (code, err) == (0, "")
    assert "usage: ohmward" in out


def test_fault_of_ours_is_three_with_an_incident(ask: Ask, monkeypatch: pytest.MonkeyPatch) -> None:
    def break_down(*_: object) -> None:
        raise ZeroDivisionError

    monkeypatch.setattr("diagnostics.cli.commands.predict_mode", break_down)
    code, out, err = ask("predict", BENCH, "--json")
    assert (code, out) == (3, "")
    assert "incident" in err


def test_stop_by_the_user_is_no_fault(ask: Ask, monkeypatch: pytest.MonkeyPatch) -> None:
    def stop(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("diagnostics.cli.commands.predict_mode", stop)
    assert ask("predict", BENCH)[0] == 130


def test_every_step_of_the_demonstration_is_told_with_its_cautions(ask: Ask) -> None:
    out = ask("demo")[1]
    assert "(invented)" in out
    assert "Any alarm is real until" in out
    assert out.count("Next (") == out.count("Why: ") + out.count("Do: ")
    assert "Caution: " in out


@dataclass(frozen=True, slots=True)
class Row:
    """A row of the speed measurement."""

    detectors: int = 20
    circuits: int = 447
    ours_s: float = 0.002
    ngspice_s: float = 0.1
    ratio: float = 50.0


def test_speed_is_told_as_a_ratio_within_one_run(ask: Ask, monkeypatch: pytest.MonkeyPatch) -> None:
    """The measurement itself takes too long for a test, and a timed test proves nothing."""
    monkeypatch.setattr("diagnostics.proving.speed.measure_speed", lambda: (Row(),))
    monkeypatch.setattr("diagnostics.proving.speed.measure_pairs", lambda: (10_000, 0.4))
    monkeypatch.setattr("diagnostics.proving.suggest.measure_choice", lambda: (0.04, 0.13))
    wait = SuggestionRow("two_wire_zone", 20, 0.1, 1.2, 0.4, 0.05)
    monkeypatch.setattr("diagnostics.proving.suggest.measure_suggestions", lambda: (wait,))
    said = ComplaintRow("none_report", 1151, 202, 0.2, 0.5)
    monkeypatch.setattr("diagnostics.proving.suggest.measure_complaints", lambda: (said,))
    (complaint,) = read_object(ask, "bench")["complaints"]
    assert (complaint["complaint"], complaint["first_ratio"]) == ("none_report", pytest.approx(2.5))
    (told,) = read_object(ask, "bench")["suggestions"]
    assert (told["first_ratio"], told["next_ratio"], told["ahead_ratio"]) == pytest.approx((12, 4, 0.5))
    (row,) = read_object(ask, "bench")["rows"]
    assert row == {"detectors": 20, "circuits": 447, "ours_s": 0.002, "ngspice_s": 0.1, "ratio": 50.0}
    assert read_object(ask, "bench")["choice"] == {"one_step_s": 0.04, "plan_s": 0.13}
    first, pairs, _, last, _, slow, choice = ask("bench")[1].splitlines()
    assert slow == "none_report: 2.5 (500 ms)"
    assert choice.endswith("one step ahead 40 ms, with a plan 130 ms")
    assert first == "20 detectors, 447 circuits: ours 2.0 ms, ngspice 100.0 ms, 50 times"
    assert pairs == "10000 pairs of faults settled in standby, 20 detectors: 0.40 s"
    assert last == "two_wire_zone, 20 detectors: 12.0 / 4.0 / 0.5 (100 ms)"


def test_plans_are_told_as_shares_beyond_the_exact_plan(ask: Ask, monkeypatch: pytest.MonkeyPatch) -> None:
    row = PlanRow("two_wire_zone", 6, 36, 332, 30.0, 30.0, 30.3, 33.0, 30.6, 31.5, 0.12)
    large = replace(row, exact=None)
    monkeypatch.setattr("diagnostics.proving.plans.measure_plans", lambda: (row, large))
    told = read_object(ask, "bench", "plans")["rows"]
    assert told[0]["excess"]["half_split"] == pytest.approx(0.1)
    assert told[1]["excess"] == {}
    out = ask("bench", "plans")[1]
    assert "exact 30.0 min (332 states)" in out
    assert "exact does not fit" in out
    assert "half-split: mean 10.00 %, worst 10.00 %" in out


def test_speed_without_the_other_program_says_what_to_install(ask: Ask, monkeypatch: pytest.MonkeyPatch) -> None:
    def miss() -> None:
        raise FileNotFoundError

    monkeypatch.setattr("diagnostics.proving.speed.measure_speed", miss)
    code, out, err = ask("bench", "--json")
    assert (code, out) == (2, "")
    assert "package ngspice" in err


def test_prove_says_for_each_guide_how_many_faults_it_ends_right_for(ask: Ask) -> None:
    code, out, err = ask("prove", "constant_trouble", "--site", "bakery", "--json")
    assert err == ""
    found = json.loads(out)
    (guide,) = found["guides"]
    assert (found["format"], guide["guide"]) == ("ohmward-proofs/1", "constant_trouble")
    everything = guide["means"][0]
    assert everything["means"] == "everything"
    assert everything["right"] == everything["faults"] > 50
    assert code == int(bool(guide["wrong"] or guide["unused"]))


def test_prove_of_a_guide_that_is_not_there_names_the_nearest(ask: Ask) -> None:
    code, _, err = ask("prove", "constant_truble")
    assert code == 1
    assert "did you mean 'constant_trouble'?" in err


def test_guide_with_mistakes_is_refused_with_each_place(ask: Ask, tmp_path: Path) -> None:
    spoilt = tmp_path / "mine.yaml"
    text = Path(GUIDES[0]).read_text("utf-8").replace("measure: volts", "measure: vlots")
    spoilt.write_text(text, "utf-8")
    code, _, err = ask("check", str(spoilt))
    assert code == 1
    assert err.count("T103") == text.count("measure: vlots")
    assert "did you mean 'volts'?" in err


def test_volts_that_no_loop_has_are_a_stop_and_nothing_is_next(ask: Ask, tmp_path: Path) -> None:
    path = tmp_path / "call.yaml"
    (tmp_path / "bakery.yaml").write_text(Path(SITE).read_text("utf-8"), "utf-8")
    reading = "readings:\n  - {measurement: volts, red: panel.zone1+, black: panel.zone1-, value: 230 V}\n"
    path.write_text(f"format: ohmward-case/1\nsite: bakery.yaml\nsymptom: constant_trouble\n{reading}", "utf-8")
    for flags in ((), ("--guide",)):
        text = ask("diagnose", str(path), *flags)[1]
        assert "Stop, hands off: Volts: red on zone 1 +, black on zone 1 −: 230 V." in text
        assert "Next" not in text
        assert "It is made safe" not in text
        found = read_object(ask, "diagnose", str(path), *flags)
        assert found["next"] is None
        assert len(found["stop"]) == 1
    assert read_object(ask, "diagnose", CASE)["stop"] == []
