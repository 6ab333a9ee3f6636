"""A class A zone: the loop comes back to the panel, which feeds it from both ends once a conductor is open."""

from .bench import Ends, WiringBench
from .elements import Gate
from .field import wire_end, wire_two_wire_detectors
from .site import LoopSpec

_LIFTED = ("lifted", "return_lifted")


def wire_class_a(bench: WiringBench, spec: LoopSpec, at: Ends) -> str:
    """Wire two-wire detectors, the run back to the panel, the end resistor and the link; return where it comes back.

    The link joins outgoing and return terminals, core by core, while the zone is *linked*: from the first open that
    the panel sees until the next reset.
    """
    zone, last = spec.zone, wire_two_wire_detectors(bench, spec, at)
    back = f"{zone}r"
    home: Ends = (f"{back}.in+", f"{back}.in-")
    screws: Ends = (f"panel.{back}+", f"panel.{back}-")
    bench.run(f"{back}.in", last, home, spec.cable, spec.back_run or spec.cable.run)
    for side, field, screw in zip("+-", home, screws, strict=True):
        bench.joint(f"landing.{back}{side}", screw, field, *(Gate(f"{zone}.{s}", when=False) for s in _LIFTED))
        out, link = f"panel.{zone}{side}", f"link.{zone}{side}"
        bench.contact(link, (out, screw), bench.panel.number("contact_ohm"), Gate(f"{zone}.linked", when=True))
    wire_end(bench, spec, bench.end, screws)
    bench.points.append(screws)
    return back
