"""The command line: ``ohmward`` opens the app, ``ohmward COMMAND`` answers on stdout and writes nothing.

Exit: 0 ran, 1 findings in the input, 2 wrong use, 3 our fault.
"""

import argparse
import io
import json
import logging
import os
import re
import sys
import uuid
from collections.abc import Sequence
from typing import NoReturn

from diagnostics.errors import DiagnosticsError, Finding, SourceError, find_nearest

from . import commands
from .learn import add_learn_panel
from .locate import add_locate
from .referee import add_bench, add_rehearse
from .serve import add_app

RAN, FOUND, MISUSED, BROKEN = 0, 1, 2, 3
LISTS = ("kinds", "measurements", "modes", "places", "terminals", "symptoms", "profiles", "contexts")


class _Parser(argparse.ArgumentParser):
    """A parser that says which word was probably meant."""

    def error(self, message: str) -> NoReturn:
        wrong = re.search(r"invalid choice: '([^']*)' \(choose from (.*)\)", message)
        near = find_nearest(wrong[1], re.findall(r"[\w-]+", wrong[2])) if wrong else None
        super().error(f"{message}; did you mean {near!r}?" if near else message)


def build_parser() -> argparse.ArgumentParser:
    """Return the parser of the whole command line."""
    parser = _Parser(
        prog="ohmward",
        description="Find what is wrong in a supervised smoke and CO detection loop. No command opens the app.",
    )
    some = parser.add_subparsers(dest="command", metavar="COMMAND")
    add_app(some.add_parser("app", help="open the app in the browser (the same as no command)"))
    some.add_parser("demo", help="run one worked, invented case in the terminal").set_defaults(run=commands.run_demo)
    check = some.add_parser("check", help="check sites, cases and finding guides")
    check.add_argument(
        "files", nargs="+", metavar="FILE", help="a site, case, guide or part of guides, - for standard input"
    )
    check.add_argument("--testability", action="store_true", help="tell also what panel and measurements cannot see")
    check.set_defaults(run=commands.run_check)
    diagnose = some.add_parser("diagnose", help="say what a case means and what to measure next")
    _add_case(diagnose)
    predict = some.add_parser("predict", help="say what every reading would be, or print the values card")
    _add_predict(predict)
    listing = some.add_parser("list", help="list the words that the other commands take")
    listing.add_argument("what", choices=LISTS)
    listing.add_argument(
        "site", nargs="?", metavar="SITE", help="a site file (needed for places, terminals, measurements, modes)"
    )
    listing.set_defaults(run=commands.run_list)
    export = some.add_parser("export", help="print the circuit for another program")
    _add_circuit(export)
    export.add_argument("--netlist", action="store_true", help="as an ngspice netlist")
    export.set_defaults(run=commands.run_export)
    learn = some.add_parser("learn-panel", help="learn a zone that nobody lists from a few readings")
    add_learn_panel(learn, commands.run_learn_panel)
    where = some.add_parser("locate", help="say where along a pair a short or an earth lies, by ohms or a bridge")
    add_locate(where, commands.run_locate)
    prove = some.add_parser("prove", help="hold finding guides against the loop model")
    _add_prove(prove)
    rehearsal = add_rehearse(some.add_parser, commands.run_rehearse)
    bench = add_bench(some.add_parser, commands.run_bench)
    for command in (check, diagnose, predict, listing, export, learn, where, prove, rehearsal, bench):
        command.add_argument("--json", action="store_true", help="print one JSON object and nothing else")
    return parser


def _add_prove(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("guides", nargs="*", metavar="GUIDE", help="a guide file, or the name of a shipped one (all)")
    parser.add_argument(
        "--site", action="append", metavar="SITE", help="a site file or shipped site (all shipped ones)"
    )
    parser.set_defaults(run=commands.run_prove)


def _add_predict(parser: argparse.ArgumentParser) -> None:
    _add_circuit(parser)
    parser.add_argument("--at", metavar="RED,BLACK", help="only this pair of terminals")
    parser.add_argument("--card", action="store_true", help="the values card of the sound loop, one page")
    parser.set_defaults(run=commands.run_predict)


def _add_case(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("case", metavar="CASE", help="a case file, - for standard input")
    parser.add_argument(
        "--guide",
        action="store_true",
        help="let the finding guide of the complaint lead; what it asks besides readings is taken as on a usual day",
    )
    parser.set_defaults(run=commands.run_diagnose)


def _add_circuit(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("site", metavar="SITE", help="a site file, - for standard input, or the name of a shipped site")
    parser.add_argument("--fault", default="", metavar="F", help="KIND[=VALUE]@PLACE, several by comma")
    parser.add_argument(
        "--mode",
        default="standby",
        metavar="M",
        help="standby, alarm:det3, during_reset, … (see: ohmward list modes SITE)",
    )


def run(arguments: Sequence[str] | None = None) -> int:
    """Run one command and return its exit code; nothing but a code leaves here."""
    arguments = sys.argv[1:] if arguments is None else list(arguments)
    parser = build_parser()
    _write_utf8()
    try:
        options = parser.parse_args(arguments or ["app"])
    except SystemExit as leaving:
        return leaving.code if isinstance(leaving.code, int) else MISUSED
    if "run" not in options:
        parser.print_usage(sys.stderr)
        return MISUSED
    return _run_guarded(options)


def _write_utf8() -> None:
    """Write UTF-8 whatever the terminal's own encoding: the same input gives the same bytes, and no sign is lost."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper) and stream.encoding.lower().replace("-", "") != "utf8":
            stream.reconfigure(encoding="utf-8")


def _run_guarded(options: argparse.Namespace) -> int:
    as_json = getattr(options, "json", False)
    try:
        code = int(options.run(options))
        sys.stdout.flush()  # a reader that has gone is noticed here, not at the interpreter's end
    except SourceError as error:
        return _report(error.findings, as_json=as_json)
    except DiagnosticsError as error:
        return _report(
            (Finding("command line", 1, 1, "U001", "error", error.message or str(error), error.hint),), as_json=as_json
        )
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return RAN
    except KeyboardInterrupt:
        return 130
    except Exception:
        incident = uuid.uuid4().hex[:8]
        logging.getLogger("ohmward").exception("incident %s", incident)
        print(f"ohmward: this is our fault, incident {incident}; please report what stands above", file=sys.stderr)
        return BROKEN
    return code


def _report(findings: Sequence[Finding], *, as_json: bool) -> int:
    if as_json:
        print(
            json.dumps(
                {"format": "ohmward-findings/1", "findings": [f.to_json() for f in findings]}, ensure_ascii=False
            )
        )
    else:
        print("\n".join(str(f) for f in findings), file=sys.stderr)
    return FOUND


if __name__ == "__main__":
    sys.exit(run())
