"""How the search narrowed down: every bar adds up, says what the list says, and ends at what is believed now."""

import re
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest

from diagnostics.cases import read_case
from diagnostics.locate import find_shipped
from diagnostics.reports import Words, describe_timeline, format_percent, name_causes, render_timeline
from diagnostics.reports.timeline import MOST_NAMED, list_named
from diagnostics.visit import assess_case, trace_case

CASES = [find_shipped("cases") / f"{name}.yaml" for name in ("bakery_call", "creamery_no_resistor", "pottery_bridge")]
SVG = "{http://www.w3.org/2000/svg}"


@pytest.mark.parametrize("path", CASES, ids=lambda path: path.stem)
def test_stages_go_from_the_complaint_to_what_is_believed_now(path: Path) -> None:
    case = read_case(path)
    stages, now = trace_case(case), assess_case(case).diagnosis
    assert len(stages) == len(case.readings) + 1
    for stage in stages:
        assert sum(stage.shares.values()) + stage.not_modelled == pytest.approx(1.0, abs=1e-6)
    shares: dict[tuple[str, str], float] = {}
    for c in now.candidates:
        shares[c.repair_class] = shares.get(c.repair_class, 0.0) + c.probability
    leader = max(shares, key=lambda r: shares[r])
    assert stages[-1].shares[leader] == pytest.approx(shares[leader], abs=1e-9)
    assert list_named(stages)[0] == leader
    assert stages[0].shares[leader] < stages[-1].shares[leader]


@pytest.mark.parametrize("dark", [False, True])
def test_picture_draws_each_share_as_wide_as_it_is(dark: bool) -> None:  # noqa: FBT001
    case = read_case(CASES[0])
    stages, labels = trace_case(case), [f"{n} <&> a reading" for n in range(len(case.readings) + 1)]
    root = ET.fromstring(render_timeline(stages, labels, dark=dark))  # noqa: S314 - made here
    rects = root.findall(f"{SVG}rect")[1:]  # the ground comes first
    named = list_named(stages)
    per_bar = len(named) + 1
    assert len(rects) == per_bar * len(stages)
    for number, stage in enumerate(stages):
        *parts, frame = rects[number * per_bar : (number + 1) * per_bar]
        for repair, part in zip(named, parts, strict=True):
            share = float(part.attrib["width"]) / float(frame.attrib["width"])
            assert share == pytest.approx(stage.shares.get(repair, 0.0), abs=0.001)
    told = [text.text or "" for text in root.findall(f"{SVG}text")]
    assert [text for text in told if "<&>" in text] == labels
    last = format_percent(stages[-1].shares[named[0]])
    assert any(re.fullmatch(f"A {re.escape(last)}", text) for text in told)


def test_words_name_every_letter_and_the_leader_of_every_stage() -> None:
    case = read_case(CASES[0])
    words, stages = Words(assess_case(case).loop), trace_case(case)
    causes = name_causes(stages, words)
    assert [letter for letter, _ in causes] == [*"ABCD"[: min(MOST_NAMED, len(list_named(stages)))], "·"]
    assert len({cause for _, cause in causes}) == len(causes)
    told = describe_timeline(stages, [str(n) for n in range(len(stages))], words)
    assert causes[0][1].rstrip(".") in told
