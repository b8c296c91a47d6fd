"""The command `trueraster`: puts the commands together, and turns every mistake into one line and an exit code.

Exit codes: 0 done or passed, 1 checked and failed, 2 bad input or usage, 130 interrupted.
"""

from __future__ import annotations

import gc
import io
import os
import sys
from contextlib import suppress
from typing import TextIO

import click

from trueraster import interrupt
from trueraster.errors import ReaderGoneError, line_of
from trueraster.lazy import Entry, LazyGroup
from trueraster.visible import visible

__all__ = ["app", "main", "run"]


_COMMANDS = {
    "patterns": Entry("patterns", "List the patterns, or show what one is for."),
    "formats": Entry("formats", "List the formats, or show the timing of one."),
    "levels": Entry("levels", "Convert levels between %, codes, mV and IRE."),
    "timing": Entry("timing", "Show a scan; make its mode line and EDID block."),
    "scope": Entry("scope", "Give the waveform that an oscilloscope should show."),
    "draw": Entry("draw", "Draw patterns into files, and prove every file."),
    "kit": Entry("kit", "Make the whole check-up, in the order of work."),
    "disc": Entry("disc", "Make a DVD-Video image of a kit, with a menu."),
    "show": Entry("show", "Show patterns on the output that feeds the set."),
    "bench": Entry("bench", "Run a check-up as a session, with a page for the phone."),
    "verify": Entry("verify", "Measure a captured frame, and name the chain's faults."),
    "sheet": Entry("sheet", "Make a page to print, true to scale."),
    "measure": Entry("measure", "Measure a screen from photographs or meter readings."),
    "record": Entry("record", "Keep the record of a set: work done, results, pictures."),
    "report": Entry("report", "Make the sheet that goes with a set."),
}
"""Every command, in the order of work, with its line in the list of help: up to 60 characters, or it is cut."""


@click.group(
    name="trueraster",
    cls=LazyGroup,
    entries=_COMMANDS,
    help="Exact test patterns for picture-monitor service, as files that prove themselves.",
    epilog="Begin with: trueraster draw crosshatch",
)
@click.version_option(package_name="trueraster", prog_name="trueraster", message="%(prog)s %(version)s")
def app() -> None:
    """The group of all commands."""


def main() -> None:
    """Run the command line and exit."""
    interrupt.install()
    for name in ("stderr", "stdout"):
        stream = getattr(sys, name)
        if stream is None:
            # Closed by the caller. Words for standard error then go nowhere.
            setattr(sys, name, open(os.devnull, "w", encoding="utf-8"))  # noqa: SIM115
            if name == "stdout":
                sys.exit(_say("trueraster: standard output is closed, an answer has nowhere to go", 2))
        elif isinstance(stream, io.TextIOWrapper):
            # A path may have letters that the terminal has not.
            stream.reconfigure(errors="backslashreplace")
    code = run(sys.argv[1:])
    for stream in (sys.stdout, sys.stderr):
        try:
            stream.flush()
        except OSError:
            # The mistake was reported already, or cannot be. Python would try again on its way out, add its own words
            # and give another exit code.
            _drop_unwritten(stream)
    # The system takes all memory back at once; Python would first search what is left for cycles, as long as a frame
    # takes to read.
    gc.freeze()
    sys.exit(code)


def run(arguments: list[str]) -> int:
    """Run one command line and give its exit code. A mistake is one line on standard error."""
    try:
        result = app.main(args=arguments or ["--help"], prog_name="trueraster", standalone_mode=False)
        sys.stdout.flush()
    except Exception as error:
        # A step that was cut short fails in its own way; what the user wanted was to stop.
        return _stopped() if interrupt.was_asked() else _report(error)
    except KeyboardInterrupt:
        return _stopped()
    return result if isinstance(result, int) else 0


def _report(error: Exception) -> int:
    if isinstance(error, click.Abort):
        return _stopped()
    if isinstance(error, click.ClickException):
        where = getattr(error, "ctx", None)
        command = where.command_path if where is not None else "trueraster"
        return _say(f"{command}: {error.format_message()} (see '{command} --help')", 2)
    if isinstance(error, ReaderGoneError):
        _drop_unwritten(sys.stdout)
        return 0
    # Imported here: --help should not wait for numpy.
    from render.produce import ProofError

    if isinstance(error, ProofError):
        return _say(f"trueraster: {error}", 1)
    line = line_of(error)
    if line is None:
        raise error
    return _say(f"trueraster: {line}", 2)


def _drop_unwritten(stream: TextIO) -> None:
    """Send what is left in a stream's buffer nowhere: it cannot be written where it should go."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())


def _stopped() -> int:
    return _say(f"trueraster: stopped; {interrupt.words()}", 130)


def _say(text: str, code: int) -> int:
    # Escapes first: a line separator in a file's name is no blank.
    # Where standard error is full, the exit code alone has to say it.
    with suppress(OSError):
        sys.stderr.write(" ".join(visible(text).split()) + "\n")
    return code
