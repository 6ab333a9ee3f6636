"""``ohmward learn-panel``: a part to paste, cautions before it, refusals in words; all panels are invented."""

import json
from pathlib import Path
from typing import Any

import pytest

from diagnostics.circuit import STANDBY
from diagnostics.cli.main import run
from diagnostics.readings import predict_mode
from diagnostics.reports import list_learn_cautions
from diagnostics.source import read_document
from diagnostics.wiring import build_loop, parse_site

READ = ("learn-panel", "--open", "27.12 V", "--known", "4k7", "21.79 V", "--known", "2k2", "17.81 V")
SHOWS = ("--shows", "10k", "trouble", "4k7", "normal", "2k2", "Normal", "--shows", "1k", "alarm", "short", "alarm")
SITE = """\
format: ohmward-site/1
name: Learnt (invented)
{panel}
zones: {{zone1: {{}}}}
loops:
  - {{zone: zone1, style: two_wire_zone, count: 3, end_resistor: {{resistance: 4.7 kΩ}}}}
"""


def ask(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, str, str]:
    code = run(words)
    return code, *capsys.readouterr()


def test_whole_output_may_be_pasted_into_a_site_and_the_site_then_reads_as_the_panel_did(
    capsys: pytest.CaptureFixture[str],
) -> None:
    code, out, err = ask(capsys, *READ, *SHOWS)
    assert (code, err) == (0, "")
    site = parse_site(read_document(SITE.format(panel=out), "site.yaml"))
    assert site.panel.spreads.keys() == {"zone_v", "zone_ohm"}
    assert site.panel.values["short_state"] == "alarm"
    loop = build_loop(site)
    told = predict_mode(loop, (), STANDBY)
    (volts,) = [
        r for r in told.readings if (r.measurement.red, r.measurement.black) == ("panel.zone1+", "panel.zone1-")
    ]
    assert volts.value == pytest.approx(
        21.8 - 0.28, abs=0.1
    )  # three detectors draw 0.1 mA each through 1150 Ω ∥ 4.7 kΩ
    assert told.panel == {"zone1": "normal"}


def test_a_zone_of_some_12_v_is_pasted_as_that_of_a_panel_of_12_v(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = ask(
        capsys, "learn-panel", "--open", "12.04 V", "--known", "4k7", "9.93 V", "--known", "2k2", "8.28 V"
    )
    assert code == 0
    assert parse_site(read_document(SITE.format(panel=out), "site.yaml")).panel.profile == "panel_12v"


def test_every_caution_of_lifting_a_zone_stands_before_the_values(capsys: pytest.CaptureFixture[str]) -> None:
    lines = ask(capsys, *READ)[1].splitlines()
    values = next(n for n, line in enumerate(lines) if "Volts with nothing on it" in line)
    told = list_learn_cautions()
    assert {title for title, _ in told} >= {
        "Is it real?",
        "Outputs",
        "Live cabinet",
        "Out of service",
        "Put everything back",
    }
    for _, text in told:
        assert any(text in line for line in lines[:values])
    assert any("releasing zone is never tried" in line for line in lines[:values])


def test_json_is_one_object_with_every_value_its_spread_and_its_unit(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, err = ask(capsys, *READ, *SHOWS, "--json")
    found: dict[str, Any] = json.loads(out)
    assert (code, err, found["format"], found["line"]) == (0, "", "ohmward-panel/1", "straight")
    for one in found["source"].values():
        assert one["low"] < one["value"] < one["high"]
        assert one["high"] - one["low"] == pytest.approx(2 * 1.96 * one["sd"], rel=1e-3)
    assert {e["name"] for e in found["edges"]} == {"alarm_below_v", "normal_from_v", "open_from_v"}
    assert found["left_open"] == []
    assert found["panel"]["profile"] == "panel_24v"
    assert "out_of_service" in found["cautions"]
    assert json.loads(ask(capsys, *READ, "--json")[1])["left_open"] == ["alarm_below_v", "normal_from_v", "open_from_v"]


def test_a_sharper_meter_and_measured_resistors_are_worth_it(capsys: pytest.CaptureFixture[str]) -> None:
    def find_sd(*more: str) -> float:
        sd: float = json.loads(ask(capsys, *READ, "--json", *more)[1])["source"]["zone_ohm"]["sd"]
        return sd

    plain, measured = find_sd(), find_sd("--measured")
    assert find_sd("--measured", "--accuracy", "0.1 % + 1") < measured < plain
    assert find_sd("--tolerance", "1 %") < plain
    bands = [word.replace("4k7", "yellow violet red brown") for word in READ]
    assert json.loads(ask(capsys, *bands, "--json")[1])["source"]["zone_ohm"]["sd"] < plain


def test_a_resistor_that_would_get_hot_is_told_and_no_other(capsys: pytest.CaptureFixture[str]) -> None:
    hot = ("learn-panel", "--open", "27.1 V", "--known", "1k", "24.6 V", "--known", "330", "20.8 V")
    told = [line for line in ask(capsys, *hot)[1].splitlines() if "W at" in line]
    assert [line.partition(":")[0] for line in told] == [
        "# 1.0 kΩ takes 0.61 W at 24.6 V",
        "# 330 Ω takes 1.3 W at 20.8 V",
    ]
    assert "W at" not in ask(capsys, *READ)[1]


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("--open", "27.1 V", "--known", "4k7", "14.1 V", "--known", "2k2", "6.6 V"), "limits its current there"),
        (("--open", "24 V", "--known", "4k7", "19.5 V", "--known", "2k2", "19 V"), "stay above the straight line"),
        (("--open", "24 V", "--known", "4k7", "19.5 V"), "three readings"),
        ((*READ[1:], "--shows", "4k7"), "each resistor wants its state"),
        ((*READ[1:], "--shows", "4k7", "nromal"), "did you mean 'normal'"),
        ((*READ[1:], "--shows", "open", "normal", "4k7", "alarm", "1k", "normal"), "no windows have this order"),
        ((*READ[1:], "--tolerance", "40 %"), "a tolerance lies"),
        (("--open", "24 V", "--known", "0", "19.5 V", "--known", "2k2", "15 V"), "no resistor to read volts across"),
        (("--open", "230 V", "--known", "4k7", "190 V", "--known", "1k", "115 V"), "stop, hands off"),
        (("--open", "24 mV", "--known", "4k7", "19 mV", "--known", "1k", "11 mV"), "no zone of a panel works below"),
        (("--open", "24 A", "--known", "1k", "19.5 V", "--known", "2k2", "15 V"), "V"),
    ],
)
def test_what_cannot_be_is_refused_in_words(
    capsys: pytest.CaptureFixture[str], words: tuple[str, ...], told: str
) -> None:
    code, out, err = ask(capsys, "learn-panel", *words)
    assert (code, out) == (1, "")
    assert told in err
    assert "panel:" not in err


def test_without_open_volts_it_is_wrong_use(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    assert ask(capsys, "learn-panel", "--known", "1k", "3 V")[0] == 2
    assert list(tmp_path.iterdir()) == []
