"""Read a finding guide with the parts it uses; every complaint at once, each at its line and column."""

import os
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Final

from diagnostics.errors import Finding, NotFoundError, SourceError, find_nearest
from diagnostics.locate import find_shipped
from diagnostics.source import Document, lay_model, read_file

from .check import check_graph, check_steps
from .schema import End, GuideFile, Part, Step

SHARED = "shared"
OWN_GUIDES: Final = "OHMWARD_GUIDES"  # the variable of the environment that names a folder of one's own guides


@dataclass(frozen=True, slots=True)
class Guide:
    """A finding guide, its parts put in: steps and ends by name, those of a part as ``part.name``."""

    name: str
    symptom: str
    title: str
    about: str
    first: str
    steps: dict[str, Step]
    ends: dict[str, End]


def parse_guide(document: Document, folder: Path | None = None) -> Guide:
    """Return the guide of a document; the parts it uses lie in ``folder/shared``, or with the shipped guides.

    Raises
    ------
    SourceError
        With every finding of the guide and of its parts.
    """
    laid = lay_model(document, GuideFile)
    if laid.model is None:
        raise SourceError(laid.findings)
    told = laid.model
    parts, findings = _read_parts(document, told.uses, folder or find_shipped("trees"))
    steps, ends = dict(told.steps), dict(told.ends)
    firsts = {name: part.first for name, part in parts.items()}
    for name, part in parts.items():
        steps |= {f"{name}.{key}": _prefix(step, name) for key, step in part.steps.items()}
        ends |= {f"{name}.{key}": end for key, end in part.ends.items()}
    steps = {key: _enter(step, firsts) for key, step in steps.items()}
    guide = Guide(Path(document.file).stem, told.symptom, told.title, told.about, told.first, steps, ends)
    findings += [*laid.findings, *check_steps(document, told, told.uses)]
    findings += check_graph(document, told.first, steps, ends, is_whole=not findings)
    if any(f.severity == "error" for f in findings):
        raise SourceError(findings)
    return guide


def check_part(document: Document) -> tuple[Finding, ...]:
    """Return the findings of a part by itself; raises SourceError where it is no part at all."""
    part, findings = _lay_part(document)
    if part is None:
        raise SourceError(findings)
    return (*findings, *check_graph(document, part.first, part.steps, part.ends, is_whole=not findings))


def _lay_part(document: Document) -> tuple[Part | None, list[Finding]]:
    """Return as much of a part as can be understood, and what is wrong inside its steps and ends."""
    laid = lay_model(document, Part)
    return laid.model, [*laid.findings, *(check_steps(document, laid.model, ()) if laid.model else ())]


def _read_parts(document: Document, names: tuple[str, ...], folder: Path) -> tuple[dict[str, Part], list[Finding]]:
    found: dict[str, Part] = {}
    findings: list[Finding] = []
    shared = {p.stem: p for base in (find_shipped("trees"), folder) for p in sorted((base / SHARED).glob("*.yaml"))}
    for n, name in enumerate(names):
        if name not in shared:
            near = find_nearest(name, shared)
            hint = f"did you mean {near!r}?" if near else f"there are {', '.join(shared) or 'none'}"
            place = document.places.get(("uses", n), (1, 1))
            findings.append(Finding(document.file, *place, "T101", "error", f"no part {name!r} in {SHARED}/", hint))
            continue
        try:
            part, wrong = _lay_part(read_file(shared[name]))
        except SourceError as error:
            findings += error.findings
            continue
        findings += wrong
        if part is not None:
            found[name] = part
    return found, findings


def _prefix(step: Step, part: str) -> Step:
    """Return a step of a part with its goals told from outside the part."""
    return _map_goals(step, lambda goal: f"{part}.{goal}")


def _enter(step: Step, firsts: dict[str, str]) -> Step:
    """Return a step whose goals that name a part lead to where the part begins."""
    return _map_goals(step, lambda goal: f"{goal}.{firsts[goal]}" if goal in firsts else goal)


def _map_goals(step: Step, change: Callable[[str], str]) -> Step:
    told: dict[str, object] = {
        key: change(goal) for key in ("otherwise", "cannot", "absent", "go") if (goal := getattr(step, key)) is not None
    }
    told["branches"] = tuple(b.model_copy(update={"go": change(b.go)}) for b in step.branches)
    return step.model_copy(update=told)


def read_guide(path: Path) -> Guide:
    """Return the guide in a file; the parts it uses lie beside it in ``shared/``. Raises SourceError."""
    return parse_guide(read_file(path), path.parent)


@cache
def read_shipped() -> dict[str, Guide]:
    """Return the guides that ship with the package, by symptom."""
    guides = (read_guide(path) for path in sorted(find_shipped("trees").glob("*.yaml")))
    return {guide.symptom: guide for guide in guides}


@cache
def read_own(folder: Path) -> dict[str, Guide]:
    """Return the guides in a folder of one's own, by symptom.

    Raises
    ------
    NotFoundError
        There is no such folder, or no guide in it.
    SourceError
        With every finding of all of them; two for one complaint are a finding too.
    """
    if not folder.is_dir():
        raise NotFoundError(f"no folder {str(folder)!r}", hint="name the folder that your guides lie in")
    paths = sorted(folder.glob("*.yaml"))
    if not paths:
        raise NotFoundError(f"no finding guide in {str(folder)!r}", hint="put each into a file of its own, *.yaml")
    found: dict[str, Guide] = {}
    findings: list[Finding] = []
    for path in paths:
        try:
            guide = read_guide(path)
        except SourceError as error:
            findings += error.findings
            continue
        if guide.symptom in found:
            told = f"a second guide for {guide.symptom!r}, beside {found[guide.symptom].name}.yaml"
            findings.append(Finding(str(path), 1, 1, "T116", "error", told, "keep one for each complaint"))
        found.setdefault(guide.symptom, guide)
    if findings:
        raise SourceError(findings)
    return found


def find_guide(symptom: str) -> Guide | None:
    """Return the guide for a symptom: one's own, where ``OHMWARD_GUIDES`` names its folder, else the shipped one."""
    folder = os.environ.get(OWN_GUIDES)
    own = read_own(Path(folder)) if folder else {}
    return own.get(symptom) or read_shipped().get(symptom)


def list_guide_files() -> Iterator[Path]:
    """Yield the files of the shipped guides and parts."""
    yield from sorted(find_shipped("trees").rglob("*.yaml"))


def choose_guide(name: str) -> Guide:
    """Return a shipped guide by the name of its file or its symptom; raises NotFoundError with a suggestion."""
    guides = {g.name: g for g in read_shipped().values()} | read_shipped()
    if name not in guides:
        near = find_nearest(name, guides)
        raise NotFoundError(
            f"no finding guide {name!r}", hint=f"did you mean {near!r}?" if near else f"there are {', '.join(guides)}"
        )
    return guides[name]
