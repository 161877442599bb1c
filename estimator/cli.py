"""The command `estimator`: find the verb, run it, turn whatever happens into a message and an exit code.

0 done; 2 bad input, with the reason on stderr; 130 stopped by the user; 141 the reader of a pipe went
away; 1 a fault of the program itself. A verb is a module of `estimator.commands`, imported only when it
is called for.
"""

from __future__ import annotations

import argparse
import contextlib
import importlib
import os
import sys
from collections.abc import Sequence
from difflib import get_close_matches
from types import ModuleType

from estimator import __version__
from estimator.commands.reading import in_files_and_flags
from estimator.problems import InputError

VERBS = {
    "new": "write a commented case file to start from",
    "assess": "what a car will need and cost, part by part, with reasons",
    "next": "what to check or ask next, and when to stop",
    "sheet": "an inspection sheet to take along, on paper and for a phone",
    "offer": "what to offer, where to walk away, and the sheet for the table",
    "compare": "cars side by side",
    "screen": "many cars at once, a row each",
    "report": "what a car will cost to print, to read and as a workbook",
    "plan": "the first year: jobs by month, money, orders, job cards",
    "keep": "what keeping it costs over the years, and selling now against it",
    "record": "add what really happened: bills, quotes, findings, work done",
    "fit": "lives from a club's or a workshop's records",
    "catalogue": "read and check what the program knows about parts, checks and prices",
    "app": "open the dashboard in a browser",
}
DONE, FAULT, BAD_INPUT, STOPPED, PIPE_CLOSED = 0, 1, 2, 130, 141
DEBUG = "ESTIMATOR_DEBUG"  # set to 1: faults of the program show where they happened


def main(argv: Sequence[str] | None = None) -> int:
    """Run one verb and return the exit code."""
    words = list(sys.argv[1:] if argv is None else argv)
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")  # a terminal without accents shows a question mark
    try:
        code = _run(words)
        if sys.stdout is not None:
            sys.stdout.flush()  # here, where a full disk or a closed pipe can still be said
        return code
    except InputError as error:
        return _say(str(error), BAD_INPUT, who="")  # each line of it names its file
    except KeyboardInterrupt:
        return _say("stopped", STOPPED, who="\n")
    except BrokenPipeError:
        _forget_stdout()
        return PIPE_CLOSED
    except MemoryError:
        return _say("not enough memory for that many draws; ask for fewer with --draws", BAD_INPUT)
    except OSError as error:
        _forget_stdout()
        where = f"{error.filename}: " if error.filename else ""
        return _say(f"{where}{error.strerror or error}", BAD_INPUT)
    except Exception as error:
        if os.environ.get(DEBUG, "") not in ("", "0"):
            raise
        text = f"a fault in the program, not in what you wrote ({type(error).__name__}: {error})"
        return _say(f"{text}; {DEBUG}=1 shows where", FAULT)


def _run(words: list[str]) -> int:
    if not words or words[0] in ("-h", "--help", "help"):
        print(overview())
        return DONE
    if words[0] == "--version":
        print(f"estimator {__version__}")
        return DONE
    verb = words[0]
    if verb not in VERBS:
        close = get_close_matches(verb, VERBS, n=1)
        meant = f"; did you mean {close[0]}?" if close else "."
        return _say(f"there is no verb {verb!r}{meant} Verbs are {', '.join(VERBS)}", BAD_INPUT)
    command = importlib.import_module(f"estimator.commands.{verb}")
    args = parser_of(verb, command).parse_args(words[1:])
    try:
        code = command.run(args)
    except InputError as error:
        raise in_files_and_flags(error, args) from None
    return int(code)


def parser_of(verb: str, command: ModuleType) -> argparse.ArgumentParser:
    """The parser of one verb, described by its module."""
    parser = argparse.ArgumentParser(
        prog=f"estimator {verb}",
        description=command.__doc__,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    command.add_arguments(parser)
    return parser


def overview() -> str:
    """What `estimator` alone prints."""
    width = max(map(len, VERBS))
    rows = [f"  {verb:<{width}}  {what}" for verb, what in VERBS.items()]
    return "\n".join(
        (
            "usage: estimator VERB ...",
            "",
            "What an old car will really cost: hidden repairs, before and after buying.",
            "",
            *rows,
            "",
            "estimator VERB --help explains a verb. Every verb takes --json FILE (or - for the terminal).",
            "Begin with: estimator new my-car.toml, fill it in, then: estimator assess my-car.toml",
        )
    )


def _say(text: str, code: int, *, who: str = "estimator: ") -> int:
    """Print a message for people on stderr, if anybody can still read it."""
    with contextlib.suppress(OSError, ValueError):
        print(f"{who}{text}", file=sys.stderr, flush=True)
    return code


def _forget_stdout() -> None:
    """Nobody reads what is left in stdout's buffer: without this Python complains about it when it ends."""
    with contextlib.suppress(OSError, ValueError, AttributeError):
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, sys.stdout.fileno())
        os.close(nowhere)
