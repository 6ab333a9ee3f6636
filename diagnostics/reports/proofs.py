"""What finding guides come to, as a JSON object."""

from typing import Any

from diagnostics.proving import MEANS, GuideProof, Proof

Object = dict[str, Any]


def build_proofs(proofs: tuple[GuideProof, ...]) -> Object:
    """Return the answer of ``prove``: shares by means, and every proof that is wrong or thin."""
    return {"format": "ohmward-proofs/1", "guides": [_build_guide(proof) for proof in proofs]}


def _build_guide(proof: GuideProof) -> Object:
    return {
        "guide": proof.guide.name,
        "symptom": proof.guide.symptom,
        "means": [_build_means(proof, means) for means in MEANS],
        "mean_suspects": round(proof.mean_suspects, 2),
        "wrong": [_build_proof(p) for p in proof.wrong],
        "thin": [_build_proof(p) for p in proof.thin],
        "unused": list(proof.unused),
        "idle": list(proof.idle),
    }


def _build_means(proof: GuideProof, means: str) -> Object:
    some = [p for p in proof.proofs if p.means == means]
    return {
        "means": means,
        "faults": len(some),
        "right": sum(p.right for p in some),
        "left_to_the_model": sum(not p.end for p in some),
        "mean_minutes": round(sum(p.minutes for p in some) / len(some), 2) if some else None,
    }


def _build_proof(p: Proof) -> Object:
    fault = p.fault.text if p.fault else "healthy"
    return {
        "site": p.site, "fault": fault, "means": p.means, "way": list(p.way), "end": p.end or None,
        "thin_at": list(p.thin),
    }  # fmt: skip
