"""Pictures: what they show, whatever the loop, and that shade, symbol and percentage say the same."""

import re
from xml.etree import ElementTree as ET

import pytest

from diagnostics.locate import find_shipped
from diagnostics.readings import list_measurements
from diagnostics.reasoning import Question, diagnose
from diagnostics.reports import (
    Words,
    describe_picture,
    find_shares,
    list_expected,
    list_shortened,
    list_suspects,
    render_loop,
    render_style,
)
from diagnostics.visit import build_bench
from diagnostics.wiring import Loop, Style, build_loop, parse_site, read_site

SITES = sorted((find_shipped("cases") / "sites").glob("*.yaml"))
SVG = "{http://www.w3.org/2000/svg}"


def build(name: str) -> Loop:
    return build_loop(read_site(find_shipped("cases") / "sites" / f"{name}.yaml"))


def read_texts(svg: str) -> list[str]:
    return [e.text or "" for e in ET.fromstring(svg).iter(f"{SVG}text")]  # noqa: S314 - our own picture


@pytest.mark.parametrize("path", SITES, ids=lambda p: p.stem)
@pytest.mark.parametrize("dark", [False, True])
def test_every_measurement_of_every_site_can_be_drawn_inside_the_picture(path: object, dark: bool) -> None:  # noqa: FBT001
    loop = build_loop(read_site(path))  # type: ignore[arg-type]
    for m in list_measurements(loop):
        svg = render_loop(loop, {"end": 0.5}, m, dark=dark)
        root = ET.fromstring(svg)  # noqa: S314 - our own picture
        width, height = float(root.attrib["width"]), float(root.attrib["height"])
        for circle in root.iter(f"{SVG}circle"):
            assert 0 < float(circle.attrib["cx"]) < width
            assert 0 < float(circle.attrib["cy"]) < height


def test_each_detector_has_its_number_and_its_room() -> None:
    loop = build("bakery")
    texts = read_texts(render_loop(loop, {}, None, dark=False))
    assert [t for t in texts if t.isdigit()] == [str(n) for n in range(1, 9)]
    assert {d.label for d in loop.detectors} <= set(texts)


def test_suspect_is_shown_by_percentage_symbol_and_shade() -> None:
    loop = build("bakery")
    plain = render_loop(loop, {}, None, dark=False)
    weak = render_loop(loop, {"run det3": 0.05}, None, dark=False)
    strong = render_loop(loop, {"run det3": 0.8}, None, dark=False)
    assert "80 %" in read_texts(strong)
    assert [svg.count("<path d=") - plain.count("<path d=") for svg in (weak, strong)] == [1, 3]
    depth = [float(re.findall(r'fill-opacity="([\d.]+)"', svg)[0]) for svg in (weak, strong)]
    assert depth[0] < depth[1]


def test_what_is_hardly_suspected_is_not_marked() -> None:
    loop = build("bakery")
    assert render_loop(loop, {"det2": 0.02}, None, dark=False) == render_loop(loop, {}, None, dark=False)


def test_red_and_black_lead_are_drawn_at_the_box_they_touch() -> None:
    loop = build("bakery")
    m = next(m for m in list_measurements(loop) if (m.red, m.black) == ("det5.in+", "det5.in-"))
    root = ET.fromstring(render_loop(loop, {}, m, dark=False))  # noqa: S314 - our own picture
    circles = [(float(c.attrib["cx"]), float(c.attrib["cy"])) for c in root.iter(f"{SVG}circle")]
    assert len(circles) == 2
    (red_x, red_y), (black_x, black_y) = circles
    corner = next(g.attrib["transform"] for g in root.iter(f"{SVG}g") if "5" in [t.text for t in g.iter(f"{SVG}text")])
    x, y = (float(number) for number in re.findall(r"\d+", corner))
    assert red_x == black_x == x + 48  # where the run comes in
    assert y + 40 < red_y < black_y < y + 84  # within the box, plus above minus


def test_shares_by_place_are_the_probabilities_of_the_candidates() -> None:
    bench = build_bench(read_site(find_shipped("cases") / "sites" / "bakery.yaml"))
    d = diagnose(bench, Question(symptom="constant_trouble"))
    shares = find_shares(d)
    healthy = next(c.probability for c in d.candidates if not c.faults)
    assert sum(shares.values()) + healthy + d.not_modelled == pytest.approx(1.0)
    assert list(shares.values()) == sorted(shares.values(), reverse=True)


def test_those_who_cannot_see_the_picture_are_told_the_same() -> None:
    loop = build("bakery")
    words = Words(loop)
    m = list_measurements(loop)[1]
    told = describe_picture(loop, {"end": 0.62, "det2": 0.01}, m, words)
    assert "8 detectors" in told
    assert "at the far end 62 %" in told
    assert "det2" not in told
    assert words.name(m) in told


def test_room_name_stays_text_in_the_picture() -> None:
    from diagnostics.source import read_document

    text = (
        "format: ohmward-site/1\nname: x\nzones: {zone1: {}}\nloops: [{zone: zone1, style: two_wire_zone, "
        "end_resistor: {resistance: 4.7k}, detectors: [{room: '<b>&'}]}]\n"
    )
    loop = build_loop(parse_site(read_document(text, "x")))
    assert "<b>&" in read_texts(render_loop(loop, {}, None, dark=False))


@pytest.mark.parametrize("style", list(Style))
def test_style_is_drawn_with_as_many_wires_as_it_has(style: Style) -> None:
    root = ET.fromstring(render_style(style, dark=False))  # noqa: S314 - our own picture
    heights = {e.attrib["y1"] for e in root.iter(f"{SVG}line")}
    assert len(heights) == (4 if style.has_power_pair else 2)


def test_same_expected_answer_stands_once_and_names_its_causes() -> None:
    bench = build_bench(read_site(find_shipped("cases") / "sites" / "bakery.yaml"))
    d = diagnose(bench, Question(symptom="constant_trouble"))
    rows = list_expected(d, Words(bench.loop))
    assert rows
    assert len({shown for shown, _ in rows}) == len(rows)


def test_list_of_suspects_ends_with_what_is_not_known() -> None:
    bench = build_bench(read_site(find_shipped("cases") / "sites" / "bakery.yaml"))
    rows = list_suspects(diagnose(bench, Question(symptom="constant_trouble")), Words(bench.loop))
    assert rows[-1][1] == "something this tool does not know"
    assert all(percent.endswith("%") for percent, _ in rows)


def build_long(count: int, style: str = "two_wire_zone") -> Loop:
    from diagnostics.source import read_document

    text = (
        f"format: ohmward-site/1\nname: long\nzones: {{zone1: {{}}}}\nloops: [{{zone: zone1, style: {style}, "
        f"end_resistor: {{resistance: 4.7k}}, count: {count}}}]\n"
    )
    return build_loop(parse_site(read_document(text, "long")))


def read_boxes(svg: str) -> list[str]:
    return [t for t in read_texts(svg) if t and t.replace("–", "").isdigit()]


@pytest.mark.parametrize("count", [25, 64, 128])
def test_long_loop_is_folded_into_few_rows_and_leaves_nobody_out(count: int) -> None:
    loop = build_long(count)
    svg = render_loop(loop, {"end": 0.3}, None, dark=False)
    root = ET.fromstring(svg)  # noqa: S314 - our own picture
    assert float(root.attrib["height"]) <= 6 * 134
    covered: list[int] = []
    for box in read_boxes(svg):
        first, _, last = box.partition("–")
        covered += range(int(first), int(last or first) + 1)
    assert covered == list(range(1, count + 1))


def test_loop_of_24_is_drawn_whole() -> None:
    assert read_boxes(render_loop(build_long(24), {}, None, dark=False)) == [str(n) for n in range(1, 25)]


def test_suspects_and_next_test_point_of_a_long_loop_are_boxes_of_their_own() -> None:
    loop = build_long(64)
    m = next(m for m in list_measurements(loop) if (m.red, m.black) == ("det41.in+", "det41.in-"))
    svg = render_loop(loop, {"run det17": 0.4, "det50": 0.1}, m, dark=False)
    assert {"1", "17", "41", "50", "64"} <= set(read_boxes(svg))
    assert "40 %" in read_texts(svg)
    circles = list(ET.fromstring(svg).iter(f"{SVG}circle"))  # noqa: S314 - our own picture
    assert len(circles) == 2


@pytest.mark.parametrize("style", ["two_wire_zone", "four_wire_zone"])
def test_every_lead_of_a_long_loop_lies_at_a_box_and_inside_the_picture(style: str) -> None:
    loop = build_long(40, style)
    for m in list_measurements(loop):
        root = ET.fromstring(render_loop(loop, {"end": 0.5}, m, dark=False))  # noqa: S314 - our own picture
        width, height = float(root.attrib["width"]), float(root.attrib["height"])
        circles = [(float(c.attrib["cx"]), float(c.attrib["cy"])) for c in root.iter(f"{SVG}circle")]
        assert len(circles) == (2 if m.red else 0)
        assert all(0 < x < width and 0 < y < height for x, y in circles)


def test_stretch_shows_the_summed_share_of_what_it_holds_and_says_it_in_words() -> None:
    loop = build_long(64)
    shares = {f"det{n}": 0.01 for n in range(2, 10)}
    svg = render_loop(loop, shares, None, dark=False)
    assert "2–9" in read_boxes(svg)
    assert "8 %" in read_texts(svg)
    assert "in the stretch of detectors 2 to 9 8 %" in describe_picture(loop, shares, None, Words(loop))


def test_zone_has_a_shape_and_a_label_that_no_detector_has() -> None:
    svg = render_loop(build("hostel"), {}, None, dark=False)
    assert {"Z1", "zone 1", "Z2", "zone 2"} <= set(read_texts(svg))
    tags = [e.attrib["d"] for e in ET.fromstring(svg).iter(f"{SVG}path") if "L112 62" in e.attrib["d"]]  # noqa: S314
    assert len(tags) == 2
    assert [t for t in read_texts(svg) if t.isdigit()] == [str(n) for n in range(1, 8)]


def test_room_is_wrapped_and_one_that_does_not_fit_is_listed_whole() -> None:
    from diagnostics.source import read_document

    rooms = "[{room: lower west dormitory}, {room: stockroom behind the old bakehouse yard}, {room: attic}]"
    text = (
        "format: ohmward-site/1\nname: x\nzones: {zone1: {}}\nloops: [{zone: zone1, style: two_wire_zone, "
        f"end_resistor: {{resistance: 4.7k}}, detectors: {rooms}}}]\n"
    )
    loop = build_loop(parse_site(read_document(text, "x")))
    texts = read_texts(render_loop(loop, {}, None, dark=False))
    assert {"lower west", "dormitory", "attic"} <= set(texts)
    assert max(len(t) for t in texts) <= 13
    assert list_shortened(loop, {}, None) == ("det2",)


def test_loop_that_hardly_a_suspect_is_in_is_one_box_with_their_sum() -> None:
    loop = build("hostel")
    shares = {"run det2": 0.6, "det6": 0.05, "end2": 0.05}
    svg = render_loop(loop, shares, None, dark=False)
    texts = read_texts(svg)
    assert [t for t in texts if t.isdigit()] == ["1", "2", "3", "4"]
    assert {"Z2", "3 detectors", "10 %"} <= set(texts)
    assert "zone 2 10 %" in describe_picture(loop, shares, None, Words(loop))


@pytest.mark.parametrize("shares", [{"run det2": 0.6, "det6": 0.2}, {"run det2": 0.6, "det6": 0.1, "end2": 0.06}])
def test_loop_with_more_than_a_few_suspects_is_drawn_whole(shares: dict[str, float]) -> None:
    texts = read_texts(render_loop(build("hostel"), shares, None, dark=False))
    assert [t for t in texts if t.isdigit()] == [str(n) for n in range(1, 8)]


def test_loop_that_the_next_step_leads_to_is_drawn_whole() -> None:
    loop = build("hostel")
    for m in list_measurements(loop):
        if loop.find_chain(m.place) is loop.chains[1] or "zone2" in m.red:
            texts = read_texts(render_loop(loop, {"run det2": 0.6}, m, dark=False))
            assert {"5", "6", "7"} <= set(texts), m.key


def test_row_is_lower_where_nothing_stands_over_it() -> None:
    heights = [
        float(ET.fromstring(render_loop(build("bakery"), shares, None, dark=False)).attrib["height"])  # noqa: S314
        for shares in ({}, {"det1": 0.4}, {"det1": 0.4, "end": 0.4})
    ]
    assert heights[0] < heights[1] < heights[2] <= 4 * 134
