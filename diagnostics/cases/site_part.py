"""The site of a case file: a path, the name of a shipped site, or a site written out."""

import re
import textwrap
from pathlib import Path

from diagnostics.errors import SourceError, find_nearest, quote
from diagnostics.locate import find_shipped
from diagnostics.source import Document, find_value, read_document, read_file
from diagnostics.wiring import Site, parse_site

from .notes import Notes
from .site_text import write_tree

_SHIPPED_NAME = re.compile(r"[A-Za-z0-9_.-]{1,80}")


def find_site(notes: Notes, base: Path | None, text: str) -> tuple[Site, str] | None:
    """Return the site of a case file and its text, or None with what is wrong noted (C001).

    Without ``base`` no file is opened but the shipped sites; with ``text`` a site written out keeps its own lines.
    """
    given = notes.find("site")
    if isinstance(given, dict):
        site = notes.lay(Site, ("site",))
        return (site, cut_site_text(notes.document, text)) if site else None
    if not isinstance(given, str) or not given.strip():
        if ("site",) in notes.document.places:  # a missing key is the schema's business
            notes.add(("site",), "C001", "site: a path, the name of a shipped site, or a site written out is wanted")
        return None
    path = _find_site_file(notes, given.strip(), base)
    if path is None:
        return None
    try:
        return parse_site(read_file(path)), path.read_text("utf-8-sig")
    except SourceError as error:
        notes.findings.extend(error.findings)
        notes.add(("site",), "C001", f"the site {quote(given)} cannot be used", "see its own findings")
        return None


def _find_site_file(notes: Notes, given: str, base: Path | None) -> Path | None:
    shipped = {path.stem: path for path in sorted((find_shipped("cases") / "sites").glob("*.yaml"))}
    try:
        if base is not None and not Path(given).is_absolute() and (base / given).is_file():
            return base / given
    except (OSError, ValueError):  # too long, or a character that no path can have
        pass
    if given.removesuffix(".yaml") in shipped:
        return shipped[given.removesuffix(".yaml")]
    stem = Path(given).stem if base is None else ""
    near = stem if stem in shipped else find_nearest(given, shipped) if _SHIPPED_NAME.fullmatch(given) else None
    hints = [f"did you mean {quote(near)}?"] if near else []
    if base is None:
        hints.append("a path is not followed from here: write the site out")
    elif not near:
        hints.append("a path counts from the folder of the case file")
    hint = " ".join(hints)
    notes.add(("site",), "C001", f"there is no site {quote(given)}", hint)
    return None


def cut_site_text(document: Document, text: str) -> str:
    """Return the lines of a site that is written out, or its content in our own lines where they cannot be cut."""
    tree = find_value(document.data, ("site",))
    first = document.key_places[("site",)][0]
    if text and document.places[("site",)][0] > first:
        later = [line for path, (line, _) in document.key_places.items() if len(path) == 1 and line > first]
        lines = text.splitlines()[first : min(later) - 1 if later else None]
        cut = textwrap.dedent("\n".join(lines)).strip("\n") + "\n"
        if _find_tree(cut) == tree:
            return cut
    return write_tree(tree)


def _find_tree(text: str) -> object:
    try:
        return read_document(text, "site").data
    except SourceError:
        return None
