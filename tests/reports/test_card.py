"""The values card says what predict says, in 80 columns and on one printed page.

Arithmetic of the voltage divider: any textbook of electric circuits, V = E R / (R + r). The windows 6.56 V and 19.13 V
follow from the generic profiles by it, see each test.
"""

import json
import re
import subprocess
from pathlib import Path

import pytest

from diagnostics.circuit import parse_mode
from diagnostics.cli.main import run
from diagnostics.faults import parse_faults
from diagnostics.readings import predict_mode
from diagnostics.reports import build_card, build_card_object, render_card, render_card_text
from diagnostics.reports.card import Card, CardPair, CardRow
from diagnostics.units import OVER
from diagnostics.wiring import Loop, QuickDescription, Site, build_loop, build_quick_site, read_site
from tests.sampling import sample

SITES = sorted((Path(__file__).parents[2] / "cases" / "sites").glob("*.yaml"))


def build(name: str) -> Loop:
    """Return a shipped loop."""
    return build_loop(read_site(SITES[0].with_name(f"{name}.yaml")))


def find_row(pair: CardPair, condition: str) -> CardRow:
    """Return the row of a condition."""
    return next(row for row in pair.rows if row.condition == condition)


@pytest.fixture(params=sample(SITES, 4), ids=lambda p: p.stem, scope="module")
def loop(request: pytest.FixtureRequest) -> Loop:
    """Return each shipped loop."""
    return build_loop(read_site(request.param))


@pytest.fixture(scope="module")
def card(loop: Loop) -> Card:
    """Return the card of each shipped loop."""
    return build_card(loop)


def test_every_number_of_the_card_is_what_predict_says(loop: Loop, card: Card) -> None:
    for pair in card.pairs:
        assert {"normal", "short"} <= {row.condition for row in pair.rows}
        assert any(row.condition.startswith("open") for row in pair.rows)
        assert any(row.condition.startswith("alarm") for row in pair.rows)
        for row in pair.rows:
            faults = parse_faults(row.fault, loop)
            prediction = predict_mode(loop, faults, parse_mode(row.mode, loop))
            leads = (pair.red, pair.black)
            (volts,) = [r for r in prediction.readings if (r.measurement.red, r.measurement.black) == leads]
            assert (row.volts.value, row.volts.sd) == (volts.value, volts.sd)
            assert row.state == prediction.panel.get(pair.zone)
            lifted = predict_mode(loop, faults, parse_mode(pair.lifted, loop)).readings
            known = {(r.measurement.red, r.measurement.black): r for r in lifted if r.measurement.kind == "ohms"}
            for leads, ohms in zip(((pair.red, pair.black), (pair.black, pair.red)), row.ohms, strict=False):
                assert (ohms.value, ohms.sd) == (known[leads].value, known[leads].sd)


def test_each_condition_reads_apart_from_normal_on_every_pair(card: Card) -> None:
    for pair in card.pairs:
        normal = find_row(pair, "normal")
        for row in pair.rows[1:]:
            assert abs(row.volts.value - normal.volts.value) > 2 * normal.volts.sd


def test_contact_pair_divides_as_the_textbook_says() -> None:
    # E = 24 V behind r = 1 kΩ, R = 4.7 kΩ: 24 x 4700 / 5700 = 19.789 V; a lifted pair is the resistor itself.
    (pair,) = build_card(build("bench_four_wire")).pairs
    normal = find_row(pair, "normal")
    assert normal.volts.value == pytest.approx(24 * 4700 / 5700, abs=0.01)
    assert [a.value for a in normal.ohms] == pytest.approx([4700, 4700], rel=0.002)  # and some metres of copper
    opened = find_row(pair, "open")
    assert opened.volts.value == pytest.approx(24.0, abs=0.01)
    assert [a.value for a in opened.ohms] == [OVER, OVER]
    assert pair.lifted == "lifted_supply_on"


def test_two_wire_zone_sags_by_the_current_of_its_detectors() -> None:
    # Thevenin: 24 V less 8 x 0.1 mA in 1 kΩ is 23.2 V without the resistor; with 4.7 kΩ, 23.2 x 4700 / 5700 = 19.13 V.
    (pair,) = build_card(build("bakery")).pairs
    assert find_row(pair, "open_end").volts.value == pytest.approx(23.2, abs=0.01)
    assert find_row(pair, "normal").volts.value == pytest.approx(23.2 * 4700 / 5700, abs=0.01)
    assert find_row(pair, "open_start").volts.value == pytest.approx(24.0, abs=0.01)


def test_alarm_on_a_two_wire_zone_is_its_clamp() -> None:
    # 5 V clamp behind 100 Ω; the 4.7 kΩ takes its part and the seven others hold below their minimum volts:
    # with r the source, (24 - v) / 1000 = (v - 5) / 100 + v / 4700 + small; v is 6.6 V or a little less.
    (pair,) = build_card(build("bakery")).pairs
    bare_v = (24 / 1000 + 5 / 100) / (1 / 1000 + 1 / 100 + 1 / 4700)
    for condition in ("alarm_first", "alarm_last"):
        row = find_row(pair, condition)
        assert bare_v - 0.1 < row.volts.value < bare_v + 0.1
        assert (row.state, row.ohms) == ("alarm", ())


def test_module_watches_its_own_pairs_and_each_has_its_own_short() -> None:
    card = build_card(build("bench_module_four_wire"))
    assert [p.zone for p in card.pairs] == ["zone1", "zone2", "", ""]
    for pair in card.pairs[2:]:
        short = find_row(pair, "short")
        assert short.fault.startswith("pair_short@det")
        assert all(a.value < 5 for a in short.ohms)


def test_a_short_on_the_card_is_the_farthest_with_all_wires_in_its_ohms() -> None:
    """Half way along the last of five runs: 4.5 · 25 m, both wires at 20.95 mΩ/m (IACS copper, ASTM B258): 4.71 Ω."""
    (pair,) = build_card(build("bench_two_wire")).pairs
    assert find_row(pair, "short").ohms[0].value == pytest.approx(4.5 * 2 * 25 * 0.02095, abs=0.15)


def test_supply_path_swaps_over_during_reset() -> None:
    path = {row.red: row for row in build_card(build("bench_four_wire")).path}
    assert path["reset.com"].standby.value == pytest.approx(24, abs=0.1)
    assert path["reset.com"].during_reset.value == pytest.approx(24, abs=0.1)
    assert path["reset.nc"].standby.value == pytest.approx(24, abs=0.1)
    assert abs(path["reset.nc"].during_reset.value) < 0.1
    assert abs(path["reset.no"].standby.value) < 0.1
    assert path["reset.no"].during_reset.value == pytest.approx(24, abs=0.1)
    assert {"panel.aux+", "panel.reset+", "det1.in+", "det4.in+", "endrelay.coil+"} <= set(path)


def test_end_resistors_are_told_with_their_place_and_spread() -> None:
    ends = {e.place: e for e in build_card(build("bench_module_four_wire")).ends}
    assert (ends["end_fire"].resistance_ohm, ends["end_fire"].detector) == (3300.0, "det4")
    assert (ends["module.fire"].resistance_ohm, ends["module.fire"].detector) == (4700.0, "")
    assert ends["end_co"].spread_percent == pytest.approx(1.5)


def test_panel_delays_of_the_site_stand_on_its_card() -> None:
    site = read_site(SITES[0].with_name("bakery.yaml"))
    slow = site.model_copy(update={"panel": site.panel.model_copy(update={"values": {"trouble_delay_s": "90 s"}})})
    assert dict(build_card(build_loop(slow)).settling)["trouble_delay"] == 90.0


def test_text_fits_eighty_columns_and_tells_every_row(loop: Loop, card: Card) -> None:
    text = render_card_text(loop)
    assert max(len(line) for line in text.splitlines()) <= 80
    flat = " ".join(text.split())
    assert card.name in flat
    for pair in card.pairs:
        for row in pair.rows:
            assert _shown(row) in flat
    assert "listed instructions" in flat


def _shown(row: CardRow) -> str:
    return f"{row.volts.value:.4g} V ±" if abs(row.volts.value) >= 0.1 else f"{row.volts.value * 1e3:.4g} mV ±"


def test_text_stays_in_eighty_columns_with_the_longest_names() -> None:
    site = read_site(SITES[0].with_name("bakery.yaml"))
    rooms = tuple(d.model_copy(update={"room": "x" * 120}) for d in site.loops[0].detectors)
    loops = (site.loops[0].model_copy(update={"detectors": rooms}),)
    text = render_card_text(build_loop(site.model_copy(update={"loops": loops, "name": "y" * 120})))
    assert max(len(line) for line in text.splitlines()) <= 80


def test_card_object_is_json_with_units_and_words_for_over_range(loop: Loop) -> None:
    told = json.loads(json.dumps(build_card_object(loop), allow_nan=False))
    assert told["format"] == "ohmward-card/1"
    amounts = [row["volts"] for pair in told["pairs"] for row in pair["rows"]]
    assert all(a["unit"] == "V" and a["sd"] > 0 for a in amounts)
    ohms = [a for pair in told["pairs"] for row in pair["rows"] for a in row["ohms"]]
    assert not ohms or "OL" in {a["value"] for a in ohms}


def test_command_prints_the_card_and_nothing_else(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["predict", "bakery", "--card"]) == 0
    assert capsys.readouterr().out == render_card_text(build("bakery"))
    assert run(["predict", "bakery", "--card", "--json"]) == 0
    assert json.loads(capsys.readouterr().out) == json.loads(json.dumps(build_card_object(build("bakery"))))


@pytest.mark.parametrize("more", [["--fault", "pair_short@det1.in"], ["--mode", "lifted"], ["--at", "a,b"]])
def test_card_of_a_faulty_loop_is_wrong_use(more: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["predict", "bakery", "--card", *more]) == 2
    assert "sound loop" in capsys.readouterr().err


def test_unsure_answers_make_the_card_wide() -> None:
    sure = build_quick_site(QuickDescription("two_wire_zone", "6", end_resistor="4k7"))[0]
    unsure = build_quick_site(QuickDescription("two_wire_zone", "6"))[0]
    assert _find_sd(unsure) > 5 * _find_sd(sure)


def _find_sd(site: Site) -> float:
    card: Card = build_card(build_loop(site))
    return find_row(card.pairs[0], "normal").ohms[0].sd


@pytest.mark.browser
@pytest.mark.parametrize("width", sample(["A4", "Letter"], 2))
def test_card_of_the_fullest_loop_prints_on_one_page(chromium: str, tmp_path: Path, width: str) -> None:
    sizes = {"A4": "210mm 297mm", "Letter": "8.5in 11in"}
    for name in ("bench_module_four_wire", "greenhouse", "bakery", "nursery"):
        html, pdf = tmp_path / f"{name}.html", tmp_path / f"{name}.pdf"
        page = render_card(build(name)).replace("@page { margin", f"@page {{ size: {sizes[width]}; margin")
        html.write_text(page, "utf-8")
        command = [chromium, "--headless", "--no-sandbox", "--disable-gpu", "--no-pdf-header-footer"]
        subprocess.run([*command, f"--print-to-pdf={pdf}", html.as_uri()], check=True, capture_output=True, timeout=60)
        assert len(re.findall(rb"/Type\s*/Page[^s]", pdf.read_bytes())) == 1
