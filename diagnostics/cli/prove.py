"""What ``ohmward prove`` reads and prints."""

from collections import Counter
from collections.abc import Sequence
from pathlib import Path

from diagnostics.locate import find_shipped
from diagnostics.proving import GuideProof, Proof, prove_guide
from diagnostics.readings import Bench
from diagnostics.trees import Guide, choose_guide, read_guide, read_shipped
from diagnostics.visit import build_bench

from .commands import read_loop

MOST_SHOWN = 12


def prove(guides: Sequence[str], sites: Sequence[str] | None) -> tuple[GuideProof, ...]:
    """Return what guides (files or shipped names; none: all shipped) come to on sites (none: all shipped).

    Raises
    ------
    SourceError, NotFoundError
        A guide or site cannot be read, or there is none of that name.
    """
    chosen = [_find_guide(name) for name in guides] or list(read_shipped().values())
    named = sites or [path.stem for path in sorted((find_shipped("cases") / "sites").glob("*.yaml"))]
    benches: dict[str, Bench] = {Path(name).stem: build_bench(read_loop(name)[1].site) for name in named}
    return tuple(prove_guide(guide, benches) for guide in chosen)


def _find_guide(name: str) -> Guide:
    return read_guide(Path(name)) if Path(name).exists() else choose_guide(name)


def tell_proofs(proof: GuideProof) -> list[str]:
    """Return lines for a terminal: how many faults reach an end that names them, what is wrong, thin or unused."""
    lines = [f"{proof.guide.name}: {proof.guide.title}"]
    for means in dict.fromkeys(p.means for p in proof.proofs):
        some = [p for p in proof.proofs if p.means == means]
        ended = [p for p in some if p.end]
        right, left = sum(p.right for p in some), len(some) - len(ended)
        minutes = sum(p.minutes for p in some) / len(some)
        lines.append(
            f"  {means}: {right} of {len(some)} faults end at an end that names them, "
            f"{left} are left to the model, mean {minutes:.1f} min"
        )
    lines.append(f"  an end leaves {proof.mean_suspects:.1f} kinds of fault in the mean")
    lines += _tell_some("wrong end", proof.wrong)
    lines += _tell_some("a reading within its error would lead to a wrong end", proof.thin)
    lines += [f"  nothing takes the way {way}" for way in proof.unused]
    return [*lines, *(f"  an end names what never reaches it: {idle}" for idle in proof.idle)]


def _tell_some(what: str, proofs: Sequence[Proof]) -> list[str]:
    counts = Counter(
        (p.site, p.means, p.fault.text if p.fault else "healthy", " → ".join((*p.way, p.end))) for p in proofs
    )
    rows = [f"  {what}: {site}, {fault}, with {means}: {way}" for site, means, fault, way in list(counts)[:MOST_SHOWN]]
    more = len(counts) - MOST_SHOWN
    return [*rows, f"  … and {more} more"] if more > 0 else rows
