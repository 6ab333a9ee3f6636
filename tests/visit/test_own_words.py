"""A repair told in plain words brings the cautions of every place where it may have been made, and of no other."""

import pytest

from diagnostics.locate import find_shipped
from diagnostics.visit import list_spared
from diagnostics.wiring import build_loop, read_site

LOOP = build_loop(read_site(find_shipped("cases") / "sites" / "bakery.yaml"))
ROOM = LOOP.detectors[4].label


@pytest.mark.parametrize(
    ("text", "spared"),
    [
        # A detector alone: nobody opened the cabinet.
        ("wire at detector 3 fixed", "live_cabinet"), ("swapped the head of det5", "live_cabinet"),
        (f"cleaned the one in the {ROOM}", "live_cabinet"), ("tightened a screw in the base", "live_cabinet"),
        # The panel alone: nobody climbed.
        ("new batteries", "ladder"), ("Panel restarted", "ladder"), ("mains breaker was off", "ladder"),
        ("set the zone back to verification off", "ladder"),
        # Either, or both.
        ("", ""), ("a loose wire", ""), ("put the end resistor in", ""), ("swapped the head and reset the panel", ""),
        ("tightened the zone wires", ""), ("new relay", ""), ("module replaced", ""), ("found the short", ""),
        ("detector 3 on the wrong zone", ""), ("fixed it", ""), ("aux output had a bad joint", ""),
        ("detached and fixed it", ""), ("fault at the head end", ""), ("battery of the bell upstairs", ""),
    ],
)  # fmt: skip
def test_a_caution_is_left_out_only_where_the_words_leave_no_doubt(text: str, spared: str) -> None:
    assert ROOM
    assert list_spared(text, LOOP) == frozenset({spared} if spared else ())


@pytest.mark.parametrize("text", ["detector 2, panel", "head at the cabinet", "earth at the ceiling", "reset, det4"])
def test_both_places_keep_both_cautions(text: str) -> None:
    assert list_spared(text, LOOP) == frozenset()


def test_nothing_but_the_cautions_of_a_place_is_ever_left_out() -> None:
    words = ("detector", "head", "panel", "battery", "wire", "zone", "ceiling", "mains", "resistor", "fuse")
    left_out = {c for one in words for two in words for c in list_spared(f"{one} {two}", LOOP)}
    assert left_out == {"live_cabinet", "ladder"}
