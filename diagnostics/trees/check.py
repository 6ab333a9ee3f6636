"""What can be wrong with a finding guide before any loop is known: names, answers, ways.

Codes: T102 unknown symptom, T103 unknown measurement, T104 unknown place, T105 an answer that cannot be, T106 a goal
that names nothing, T107 a step or end that nothing leads to, T108 a way that leads in a circle, T109 answers without a
way, T110 an answer that an earlier branch has taken, T111 unknown kind of fault, T112 unknown caution, T113 ``first``
names no step, T114 a reading that nobody can take there, on a loop of any style, T115 a step or end that is not whole.
T101 (a part that is not there) and T116 (a second guide for one complaint) are given by the reader.
"""

from collections.abc import Collection, Iterable, Iterator, Mapping

import networkx as nx

from diagnostics.errors import Finding, QuantityError, Severity, find_nearest
from diagnostics.faults import KINDS
from diagnostics.readings import LISTED, list_cautions, read_table
from diagnostics.reasoning import SYMPTOMS
from diagnostics.source import Document, Tree, TreePath, find_value

from .conditions import OHMS_BANDS, WIRING, list_words, parse_condition
from .places import ACROSS, AT
from .reach import can_be_taken, list_where
from .schema import End, GuideFile, Part, Step

_PLACED = {"volts", "ohms"}
HEALTHY = "healthy"
SUSPECTS = (HEALTHY, *KINDS)


def _find(
    document: Document, path: TreePath, code: str, message: str, hint: str = "", severity: Severity = "error"
) -> Finding:
    places = (document.places.get(path[:end]) for end in range(len(path), 0, -1))
    line, column = next((place for place in places if place), (1, 1))
    return Finding(document.file, line, column, code, severity, message, hint)


def _suggest(word: str, words: Iterable[str]) -> str:
    known = list(words)
    near = find_nearest(word, known)
    return f"did you mean {near!r}?" if near else f"known are {', '.join(known)}" if len(known) < 24 else ""


def check_steps(document: Document, told: GuideFile | Part, parts: Collection[str]) -> Iterator[Finding]:
    """Yield what is wrong inside the steps and ends of one file; ``parts`` are goals outside it."""
    if isinstance(told, GuideFile) and told.symptom not in SYMPTOMS:
        yield _find(document, ("symptom",), "T102", f"no symptom {told.symptom!r}", _suggest(told.symptom, SYMPTOMS))
    steps = _list_written(document, "steps")
    if told.first not in steps and told.first not in parts:
        yield _find(document, ("first",), "T113", f"'first' names no step: {told.first!r}", _suggest(told.first, steps))
    known = {*_list_written(document, "steps"), *_list_written(document, "ends"), *parts}
    for name, step in told.steps.items():
        yield from _keep_sure(document, ("steps", name), step, _check_step(document, ("steps", name), step, known))
    for name, end in told.ends.items():
        lacking = (_find(document, ("ends", name), "T115", rule) for rule in end.broken)
        yield from _keep_sure(document, ("ends", name), end, lacking)
    for name in _list_written(document, "ends"):
        yield from _check_suspects(document, ("ends", name, "suspects"))


def _check_step(document: Document, at: TreePath, step: Step, known: set[str]) -> Iterator[Finding]:
    yield from (_find(document, at, "T115", rule) for rule in step.broken)
    yield from _check_goals(document, at, step, known)
    yield from _check_cautions(document, at, step)
    yield from _check_measure(document, at, step)
    yield from _check_question(document, at, step)
    yield from _check_answers(document, at, step)


def _keep_sure(document: Document, at: TreePath, told: Step | End, findings: Iterable[Finding]) -> Iterator[Finding]:
    """Leave out what a step or end seems to lack while something that is written there cannot be understood."""
    is_whole = told.model_fields_set >= set(_list_written(document, *at))
    yield from (f for f in findings if is_whole or (f.line, f.column) != document.places.get(at))


def _check_suspects(document: Document, at: TreePath) -> Iterator[Finding]:
    """Check the kinds of fault that an end names, also where the rest of it has faults of its own."""
    written = find_value(document.data, at)
    for n, kind in enumerate(written if isinstance(written, list) else ()):
        if isinstance(kind, str) and kind not in SUSPECTS:
            yield _find(document, (*at, n), "T111", f"no kind of fault {kind!r}", _suggest(kind, SUSPECTS))


def _list_written(document: Document, *path: str | int) -> tuple[str, ...]:
    """Return the keys that are written at a path, those that have faults of their own among them."""
    written = find_value(document.data, path)
    return tuple(written) if isinstance(written, dict) else ()


def _list_texts(tree: Tree) -> Iterator[str]:
    parts = tree.values() if isinstance(tree, dict) else tree if isinstance(tree, list) else ()
    if isinstance(tree, str):
        yield tree
    for part in parts:
        yield from _list_texts(part)


def _check_goals(document: Document, at: TreePath, step: Step, known: set[str]) -> Iterator[Finding]:
    ways: list[tuple[TreePath, str | None]] = [
        ((*at, k), getattr(step, k)) for k in ("otherwise", "cannot", "absent", "go")
    ]
    ways += [((*at, "branches", n, "go"), b.go) for n, b in enumerate(step.branches)]
    for path, goal in ways:
        if goal is not None and goal not in known:
            yield _find(document, path, "T106", f"no step or end {goal!r}", _suggest(goal, sorted(known)))


def _check_cautions(document: Document, at: TreePath, step: Step) -> Iterator[Finding]:
    for n, caution in enumerate(step.cautions):
        if caution not in list_cautions():
            yield _find(
                document, (*at, "cautions", n), "T112", f"no caution {caution!r}", _suggest(caution, list_cautions())
            )


def _check_measure(document: Document, at: TreePath, step: Step) -> Iterator[Finding]:
    if step.measure is None:
        return
    kinds = read_table().kinds
    if step.measure not in kinds:
        yield _find(
            document, (*at, "measure"), "T103", f"no measurement {step.measure!r}", _suggest(step.measure, kinds)
        )
        return
    places = tuple(_check_place(document, at, step))
    yield from places or _check_reach(document, at, step)


def _check_place(document: Document, at: TreePath, step: Step) -> Iterator[Finding]:
    if step.measure in _PLACED and step.across is None:
        yield _find(document, at, "T104", f"{step.measure} needs 'across', a pair of terminals", _suggest("", ACROSS))
    if step.across is not None and step.across not in ACROSS:
        yield _find(document, (*at, "across"), "T104", f"no pair {step.across!r}", _suggest(step.across, ACROSS))
    if step.at is not None and step.at not in AT:
        yield _find(document, (*at, "at"), "T104", f"no place {step.at!r}", _suggest(step.at, AT))


def _check_reach(document: Document, at: TreePath, step: Step) -> Iterator[Finding]:
    """Check that somebody can take the reading: that loops of some style have it there, in that mode."""
    if can_be_taken(step):
        return
    if step.mode is not None and can_be_taken(step.model_copy(update={"mode": None})):
        message = f"{step.measure} is never taken there in mode {step.mode}"
        yield _find(document, (*at, "mode"), "T114", message, "leave 'mode' out")
        return
    key, name = ("across", step.across) if step.across else ("at", step.at)
    where = f"{key} {name}" if name else "without a place"
    named, places = list_where(step)
    path = (*at, key) if name else (*at, "measure")
    yield _find(document, path, "T114", f"{step.measure} cannot be taken {where}", f"{named}: {', '.join(places)}")


def _check_question(document: Document, at: TreePath, step: Step) -> Iterator[Finding]:
    """Check that a step without a reading names no place for one, and that a question is none of the readings."""
    if step.measure is not None:
        return
    if isinstance(step.ask, str) and step.ask in read_table().kinds:
        hint = f"write 'measure: {step.ask}'"
        yield _find(document, (*at, "ask"), "T114", f"{step.ask!r} is a measurement, no question to put", hint)
        return
    for key in ("at", "across", "mode"):
        if getattr(step, key) is not None:
            yield _find(document, (*at, key), "T114", f"{key!r} belongs to a step with 'measure'", "take it out")


def _check_answers(document: Document, at: TreePath, step: Step) -> Iterator[Finding]:
    """Check each answer, that none comes twice, and that every answer has a way."""
    if step.do is not None or (step.measure is not None and step.measure not in read_table().kinds):
        return
    taken: set[object] = set()
    for n, branch in enumerate(step.branches):
        for m, text in enumerate(branch.conditions):
            path: TreePath = (
                (*at, "branches", n, "when") if isinstance(branch.when, str) else (*at, "branches", n, "when", m)
            )
            try:
                condition = _parse_answer(step, text)
            except QuantityError as error:
                yield _find(document, path, "T105", error.message, error.hint)
                continue
            if condition in taken:
                yield _find(document, path, "T110", f"an earlier branch has taken {text!r} already", "take it out")
            taken.add(condition)
    missing = _find_untaken(step, taken)
    if missing and step.otherwise is None:
        hint = "add a branch for it, or 'otherwise'"
        yield _find(document, at, "T109", f"no way for {', '.join(missing)}", hint)


def _parse_answer(step: Step, text: str) -> object:
    if step.measure is not None:
        return parse_condition(text, step.measure)
    if step.known is not None and text not in WIRING:
        raise QuantityError(f"{text!r} is nothing that is known of the wiring", hint=_suggest(text, WIRING))
    return text


def _find_untaken(step: Step, taken: set[object]) -> tuple[str, ...]:
    """Return the answers that no branch takes; where values are told instead of words, some always are left."""
    if step.ask is not None:
        return () if step.usual is None or step.usual in taken else (step.usual,)
    if step.known is not None:
        return ("everything else",)
    kind = step.measure or ""
    words = {"volts": ("minus", "dead", "low", "right", "high"), "ohms": OHMS_BANDS}.get(kind, list_words(kind))
    if kind == "volts" and {"short", "alarm", "in_between", "normal", "open"} <= taken:
        return ()
    if kind in LISTED:
        words = ("none", "all", "some")
    return tuple(w for w in words if w not in taken)


def check_graph(
    document: Document, first: str, steps: Mapping[str, Step], ends: Mapping[str, End], *, is_whole: bool
) -> Iterator[Finding]:
    """Yield steps and ends that nothing leads to, and ways that lead in a circle.

    Where the document is not ``is_whole``, ways may have been lost: a step then counts as leading to all it names.
    """
    sound: nx.DiGraph[str] = nx.DiGraph()
    sound.add_nodes_from([*steps, *ends])
    sound.add_edges_from((n, goal) for n, step in steps.items() for goal in step.goals if goal in sound)
    graph: nx.DiGraph[str] = sound.copy()
    if not is_whole:
        texts = {n: _list_texts(find_value(document.data, ("steps", n))) for n in _list_written(document, "steps")}
        graph.add_nodes_from(texts)
        graph.add_edges_from((n, text) for n, some in texts.items() for text in some if text in graph)
    if first in graph:
        reached = nx.descendants(graph, first) | {first}
        for name in [n for n in sound if n not in reached]:
            where, what = _locate(name, steps)
            yield _find(document, where, "T107", f"nothing leads to the {what} {name!r}", "take it out, or lead there")
    for circle in nx.simple_cycles(sound):
        where, _ = _locate(next(name for name in steps if name in circle), steps)
        yield _find(document, where, "T108", f"these steps lead in a circle: {' → '.join(sorted(circle))}")
        return


def _locate(name: str, steps: Mapping[str, Step]) -> tuple[TreePath, str]:
    part, dot, _ = name.partition(".")
    what = "step" if name in steps else "end"
    return (("uses",) if dot else (f"{what}s", name)), f"{what} of part {part}" if dot else what
