"""What each command does: read, ask the engine, print. None of them writes anything."""

import argparse
import json
import sys
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from diagnostics.cases import Case, list_case_warnings, parse_case
from diagnostics.circuit import parse_mode, write_netlist
from diagnostics.errors import FaultError, Finding, SiteError, SourceError, find_nearest
from diagnostics.faults import Fault, parse_faults
from diagnostics.locate import find_shipped
from diagnostics.proving import Design, check_design
from diagnostics.readings import Prediction, predict_mode, settle_mode
from diagnostics.reports import (
    Words,
    build_card_object,
    build_circuit_object,
    build_design_findings,
    build_design_object,
    build_diagnosis,
    build_guide,
    build_learn_object,
    build_list,
    build_prediction,
    build_proofs,
    build_spot_object,
    explain_next,
    list_mend_places,
    list_mends,
    list_repair_cautions,
    put_value,
    render_card_text,
    render_design_text,
    render_learn_text,
    tell_guide,
    tell_location,
    tell_misreading,
    tell_spot,
    tell_stops,
    write_faults,
)
from diagnostics.source import Document, read_document, read_file
from diagnostics.trees import check_part, parse_guide
from diagnostics.units import format_quantity
from diagnostics.visit import Assessment, assess_case
from diagnostics.wiring import Loop, Site, build_loop, parse_site

from .learn import learn_zone
from .locate import locate
from .testability import build_objects, tell_lines, tell_sites

MOST_BYTES = 2_000_000
STDIN = "<stdin>"
NEEDS_SITE = {"places", "terminals", "measurements", "modes"}


def _read(name: str) -> Document:
    if name != "-":
        return read_file(Path(name))
    content = sys.stdin.buffer.read(MOST_BYTES)
    try:
        return read_document(content.decode("utf-8"), STDIN)
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        message, hint = f"is not UTF-8 text (line {line})", "send it as UTF-8"
        raise SourceError([Finding(STDIN, 1, 1, "Y003", "error", message, hint)]) from error


def read_loop(name: str) -> tuple[str, Loop]:
    """Return the name of a site and its loop: a file, standard input, or a shipped site by its name alone."""
    shipped = {path.stem: path for path in sorted((find_shipped("cases") / "sites").glob("*.yaml"))}
    if name in shipped and not Path(name).exists():
        name = str(shipped[name])
    try:
        return build_site(_read(name))
    except SourceError as error:
        near = find_nearest(name, shipped)
        if near is None or any(f.code != "Y001" for f in error.findings):
            raise
        hint = f"did you mean the shipped site {near!r}?"
        raise SourceError(replace(f, hint=hint) for f in error.findings) from error


def build_site(document: Document) -> tuple[str, Loop]:
    """Return the name of the site of a document and its loop; raises SourceError, also where it cannot be wired."""
    site: Site = parse_site(document)
    try:
        return site.name, build_loop(site)
    except SiteError as error:
        line, column = document.places.get(("loops", 0), (1, 1))
        finding = Finding(document.file, line, column, "S021", "error", error.message, error.hint)
        raise SourceError([finding]) from error


def _read_case(name: str) -> Case:
    base = None if name == "-" else Path(name).parent
    return parse_case(_read(name), base)


def print_json(value: object) -> None:
    """Print one JSON object and nothing else."""
    print(json.dumps(value, ensure_ascii=False, indent=1, allow_nan=False))


def run_check(options: argparse.Namespace) -> int:
    """Check files, all findings at once, and tell the design of sites; a note alone leaves the exit code at 0."""
    findings: list[Finding] = []
    designs: list[tuple[str, Loop, Design]] = []
    for name in options.files:
        try:
            document = _read(name)
            findings += check_document(document, None if name == "-" else Path(name).parent, designs)
        except SourceError as error:
            findings += error.findings
    findings = sorted(set(findings))
    if any(f.severity == "error" for f in findings):
        raise SourceError(findings)
    sites = [(name, loop) for name, loop, _ in designs] if options.testability else []
    told = list(tell_sites(sites, as_json=options.json))
    if options.json:
        tables = [{"file": name, "rows": build_design_object(design)} for name, _, design in designs]
        found = [f.to_json() for f in findings]
        whole = {"format": "ohmward-findings/1", "findings": found} | ({"design": tables} if tables else {})
        print_json(whole | build_objects(told))
    else:
        print("\n".join([*_tell_designs(designs), *tell_lines(told), _tell_count(len(options.files), findings)]))
        print("\n".join(str(f) for f in findings), end="\n" if findings else "", file=sys.stderr)
    return int(any(f.severity != "note" for f in findings))


def _tell_designs(designs: Sequence[tuple[str, Loop, Design]]) -> list[str]:
    return [line for _, loop, design in designs for line in render_design_text(design, loop)]


def _tell_count(files: int, findings: Sequence[Finding]) -> str:
    found = f"{len(findings)} found" if findings else "nothing found"
    return f"{files} file{'s' if files > 1 else ''} checked, {found}"


def check_document(
    document: Document, folder: Path | None, designs: list[tuple[str, Loop, Design]]
) -> tuple[Finding, ...]:
    """Check a site, a case, a finding guide or a part of guides, whichever its format says; raises SourceError too.

    The design check of a site is added to ``designs``, with the name of its file.
    """
    kind = str(document.data.get("format", "")) if isinstance(document.data, dict) else ""
    if kind.startswith("ohmward-case"):
        return list_case_warnings(document, parse_case(document, folder))
    if kind.startswith("ohmward-guide-part"):
        return check_part(document)
    if kind.startswith("ohmward-guide"):
        parse_guide(document, folder)
        return ()
    loop = build_site(document)[1]
    design = check_design(loop)
    designs.append((document.file, loop, design))
    return build_design_findings(design, loop, document)


def run_diagnose(options: argparse.Namespace) -> int:
    """Say what a case means; with ``--guide`` where the finding guide stands, and its step as the next one."""
    assessment = assess_case(_read_case(options.case), guided=options.guide, usual=options.guide)
    words = Words(assessment.loop)
    if options.json:
        guide = {"guide": build_guide(assessment.guidance)} if options.guide or _is_stopped(assessment) else {}
        print_json(build_diagnosis(assessment, words) | guide)
    else:
        leads = (options.guide or _is_stopped(assessment)) and not assessment.unsafe
        lines = tell_guide_lines(assessment) if leads else []
        print("\n".join([*lines, *([] if _is_stopped(assessment) else tell_diagnosis(assessment, words))]))
    return 0


def _is_stopped(assessment: Assessment) -> bool:
    return assessment.guidance is not None and assessment.guidance.stops


def tell_guide_lines(assessment: Assessment) -> list[str]:
    """Return where the finding guide stands as lines for a terminal."""
    if assessment.guidance is None:
        return ["Guide: there is none for this complaint; the model leads."]
    walk = assessment.guidance.walk
    reached = {"step": "at step", "end": "at its end", "left": "left at step"}[walk.reached]
    said = tell_guide(assessment.guidance)
    return [f"Guide {walk.guide.name}, {reached} {walk.at}" + (f": {said}" if said else "")]


def tell_diagnosis(assessment: Assessment, words: Words) -> list[str]:
    """Return a diagnosis as lines for a terminal."""
    d = assessment.diagnosis
    lines = [*(tell_misreading(m, words) for m in assessment.misread), "Suspects:"]
    for group in d.groups[:4]:
        first, *rest = group.members
        count = "one" if len(rest) == 1 else f"one of {len(rest)}"
        more = f"  (or {count} more that nothing at hand tells apart)" if rest else ""
        lines.append(f"  {group.probability:6.1%}  {words.faults(put_value(d, first))}{more}")
    lines.append(f"  {d.not_modelled:6.1%}  {words.table.not_modelled.capitalize()}")
    lines += [f"Defect: {defect}" for defect in (*words.defects(), *words.met_defects(assessment.taken))]
    lines += ["Settled."] if d.settled else []
    if assessment.unsafe:
        return [*lines, *(f"{title}: {text}" for title, text in tell_stops(assessment, words))]
    if d.next is None:
        return [*lines, words.after_repair()]
    lines.append(f"Next ({d.next.minutes:g} min):")
    if d.next.measurement is not None:
        lines.append(f"  {words.ask(d.next.measurement)}")
        lines += [f"  Caution: {words.caution(c)}" for c in d.next.measurement.cautions]
    lines.append(f"  {'Do' if d.next.action == 'repair' else 'Why'}: {explain_next(d, words)}")
    if d.next.action == "repair":
        lines += [f"  {where}" for where in [tell_location(assessment, words)] if where]
        at = list_mend_places(list_mends(d, d.next_class, words)) if d.next_class else ()
        lines += [f"  Caution: {words.caution(c)}" for c in list_repair_cautions(d.next_class, at)]
        lines.append(f"  {words.after_repair()}")
    return lines


def _read_circuit(options: argparse.Namespace) -> tuple[str, Loop, tuple[Fault, ...]]:
    name, loop = read_loop(options.site)
    return name, loop, parse_faults(options.fault, loop)


def run_predict(options: argparse.Namespace) -> int:
    """Say what every reading would be under a fault in a mode, or print the values card of the sound loop."""
    if options.card:
        return _run_card(options)
    name, loop, faults = _read_circuit(options)
    mode = parse_mode(options.mode, loop)
    prediction = predict_mode(loop, faults, mode)
    if options.at:
        prediction = _only_at(prediction, options.at)
    if options.json:
        print_json(build_prediction(prediction, loop, faults, mode))
        return 0
    print(f"{name}, {write_faults(faults)}, {mode.text}")
    for r in prediction.readings:
        m = r.measurement
        value = f"{format_quantity(r.value, m.unit, 4)} ± {format_quantity(2 * r.sd, m.unit, 2)}"
        print(f"  {m.red} to {m.black}: {Words(loop).answer(r.instead) if r.instead else value}")
    shown = [*prediction.panel.items(), *prediction.states.items()]
    print("  " + ", ".join(f"{what} {state or 'not known'}" for what, state in shown))
    return 0


def _run_card(options: argparse.Namespace) -> int:
    if options.fault or options.at or options.mode != "standby":
        print("ohmward predict: a card is of the sound loop; leave out --fault, --mode and --at", file=sys.stderr)
        return 2
    loop = read_loop(options.site)[1]
    print_json(build_card_object(loop)) if options.json else print(render_card_text(loop), end="")
    return 0


def _only_at(prediction: Prediction, at: str) -> Prediction:
    red, comma, black = at.partition(",")
    kept = tuple(
        r for r in prediction.readings if (r.measurement.red, r.measurement.black) == (red.strip(), black.strip())
    )
    if kept and comma:
        return replace(prediction, readings=kept)
    pairs = "; ".join(f"{r.measurement.red},{r.measurement.black}" for r in prediction.readings[:6])
    raise FaultError(f"no reading at {at!r} in this mode", text=at, hint=f"there are {pairs}; …")


def run_list(options: argparse.Namespace) -> int:
    """List words."""
    loop = read_loop(options.site)[1] if options.site else None
    if loop is None and options.what in NEEDS_SITE:
        print(f"ohmward list {options.what}: name a site file too", file=sys.stderr)
        return 2
    rows = build_list(options.what, loop)
    if options.json:
        print_json({"format": "ohmward-list/1", "what": options.what, "rows": rows})
        return 0
    for row in rows:
        first, *rest = [str(v) for v in row.values() if isinstance(v, str) and v]
        print(f"{first:28} {'  '.join(rest)}".rstrip())
    return 0


def run_export(options: argparse.Namespace) -> int:
    """Print a circuit for another program."""
    if options.json == options.netlist:
        print("ohmward export: say either --json or --netlist", file=sys.stderr)
        return 2
    name, loop, faults = _read_circuit(options)
    mode = parse_mode(options.mode, loop)
    settled = settle_mode(loop, faults, mode)
    if options.netlist:
        print(write_netlist(settled, f"{name}, {write_faults(faults)}, {mode.text}"), end="")
    else:
        print_json(build_circuit_object(settled, name, faults, mode))
    return 0


def run_prove(options: argparse.Namespace) -> int:
    """Hold finding guides against the loop model; findings in a guide end with code 1."""
    from .prove import prove, tell_proofs  # noqa: PLC0415 - only this command needs it

    proofs = prove(options.guides, options.site)
    if options.json:
        print_json(build_proofs(proofs))
    else:
        print("\n".join(line for proof in proofs for line in tell_proofs(proof)))
    return int(any(proof.wrong or proof.unused for proof in proofs))


def run_rehearse(options: argparse.Namespace) -> int:
    """Play one whole visit against the referee."""
    from .rehearse import run_rehearse as run  # noqa: PLC0415 - only this command needs it

    return run(options)


def run_bench(options: argparse.Namespace) -> int:
    """Measure speed, what looking ahead saves, what beliefs are worth, or compare ways of working."""
    from . import bench, rehearse, worth  # noqa: PLC0415 - only this command needs them

    runs = {"policies": rehearse.run_policies, "speed": bench.run_bench, "plans": bench.run_bench}
    return runs.get(options.what, worth.run_worth)(options)


def run_demo(options: argparse.Namespace) -> int:
    """Run one worked case from the first word to the verdict."""
    from .demo import tell_demo  # noqa: PLC0415 - only this command needs it

    del options
    for line in tell_demo():
        print(line)
    return 0


def run_locate(options: argparse.Namespace) -> int:
    """Say where along a pair a short or an earth lies; whatever was lifted and joined for it is put back first."""
    name, loop = read_loop(options.site)
    spot, first = locate(options, loop)
    words = Words(loop)
    if options.json:
        print_json({"format": "ohmward-location/1", "site": name, **build_spot_object(spot, first, words)})
        return 0
    print(f"{name}: {tell_spot(spot, first, words)}")
    print("\n".join(f"  Caution: {words.caution(c)}" for c in ("before_ohms", "put_back", "outranked")))
    return 0


def run_learn_panel(options: argparse.Namespace) -> int:
    """Tell the source and the windows of a zone that nobody lists, as a part for a site file."""
    zone = learn_zone(options)
    if options.json:
        print_json(build_learn_object(zone))
    else:
        print("\n".join(render_learn_text(zone)))
    return 0
