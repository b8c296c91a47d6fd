"""The command `trueraster`: puts the commands together, and turns every mistake into one line and an exit code.

Exit codes: 0 done or passed, 1 checked and failed, 2 bad input or usage, 130 interrupted.
"""

from __future__ import annotations

import gc
import importlib
import io
import os
import sys
from typing import NamedTuple

import click

from trueraster import interrupt
from trueraster.errors import ReaderGoneError

__all__ = ["app", "main", "run"]


class _Entry(NamedTuple):
    """A command in the list of `--help`: its module of `trueraster.commands`, and what it does."""

    module: str
    words: str


_COMMANDS = {
    "patterns": _Entry("reference", "List the patterns, or tell what one is for."),
    "formats": _Entry("reference", "List the formats, or tell the timing of one."),
    "levels": _Entry("reference", "Convert levels between %, codes, mV and IRE."),
    "timing": _Entry("timing", "Tell a format's scan, and make a computer's output send it."),
    "scope": _Entry("scope", "Tell the waveform that an oscilloscope should show of a pattern or a file."),
    "draw": _Entry("draw", "Draw patterns into files, each of them proved."),
    "kit": _Entry("kit", "Make the whole check-up, in the order of work."),
    "verify": _Entry("verify", "Measure the levels of a captured or drawn frame, and name what a chain did to them."),
    "sheet": _Entry("sheet", "Make a page to print, true to scale."),
    "measure": _Entry(
        "measure", "Measure a screen, or a camera's lens, in photographs; or a screen's colours with a meter."
    ),
    "record": _Entry("record", "Keep the record of a set: what it is, what was done, what was measured."),
    "report": _Entry("report", "Make the sheet that goes with a set."),
}
"""Every command, in the order of work. The words are its own short help, once more: `--help` loads no command."""


class _Commands(click.Group):
    """The commands, each loaded when it is asked for: one does not wait for what the others need."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(_COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        entry = _COMMANDS.get(cmd_name)
        if entry is None:
            return None
        found = getattr(importlib.import_module(f"trueraster.commands.{entry.module}"), cmd_name)
        assert isinstance(found, click.Command)
        return found

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        room = formatter.width - 6 - max(map(len, _COMMANDS))
        with formatter.section("Commands"):
            formatter.write_dl(
                # Click shortens the words to the terminal's width, as it does those of a loaded command.
                [
                    (name, click.Command(name, help=each.words).get_short_help_str(room))
                    for name, each in _COMMANDS.items()
                ]
            )


@click.group(
    name="trueraster",
    cls=_Commands,
    help="Exact test patterns for picture-monitor service, as files that prove themselves.",
    epilog="Begin with: trueraster draw crosshatch",
)
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
    # The system takes all memory back at once; Python would first search what is left for cycles, as long as a frame
    # takes to read.
    gc.freeze()
    sys.exit(code)


def run(arguments: list[str]) -> int:
    """Run one command line and give its exit code. Mistakes are told in one line on standard error."""
    try:
        result = app.main(args=arguments or ["--help"], prog_name="trueraster", standalone_mode=False)
        sys.stdout.flush()
    except Exception as error:
        # A step that was cut short fails in its own way; what the user wanted was to stop.
        return _stopped() if interrupt.was_asked() else _tell(error)
    except KeyboardInterrupt:
        return _stopped()
    return result if isinstance(result, int) else 0


def _tell(error: Exception) -> int:
    if isinstance(error, click.Abort):
        return _stopped()
    if isinstance(error, click.ClickException):
        where = getattr(error, "ctx", None)
        command = where.command_path if where is not None else "trueraster"
        return _say(f"{command}: {error.format_message()} ('{command} --help' tells more)", 2)
    if isinstance(error, ReaderGoneError):
        # Nothing more can be written there, not even what is left in the buffer.
        os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
        return 0
    # Imported here: --help should not wait for numpy.
    from render.produce import ProofError

    if isinstance(error, ProofError):
        return _say(f"trueraster: {error}", 1)
    if isinstance(error, ValueError | OSError | MemoryError):
        return _say(f"trueraster: {_words(error)}", 2)
    raise error


def _stopped() -> int:
    return _say(f"trueraster: stopped; {interrupt.words()}", 130)


def _words(error: Exception) -> str:
    if isinstance(error, MemoryError):
        return "there is not enough memory for this"
    if isinstance(error, OSError) and error.strerror:
        place = f"{error.filename}: " if error.filename else ""
        return f"{place}{error.strerror}"
    return str(error) or type(error).__name__


def _say(text: str, code: int) -> int:
    sys.stderr.write(" ".join(text.split()) + "\n")
    return code
