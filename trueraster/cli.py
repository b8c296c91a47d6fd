"""The command `trueraster`: puts the commands together, and turns every mistake into one line and an exit code.

Exit codes: 0 done or passed, 1 checked and failed, 2 bad input or usage, 130 interrupted.
"""

from __future__ import annotations

import importlib
import io
import os
import sys

import click

from trueraster import interrupt
from trueraster.output.terminal import ReaderGoneError, visible

__all__ = ["app", "main", "run"]


_COMMANDS = {
    "patterns": "reference",
    "formats": "reference",
    "levels": "reference",
    "timing": "timing",
    "scope": "scope",
    "draw": "draw",
    "kit": "kit",
    "verify": "verify",
    "sheet": "sheet",
    "measure": "measure",
    "record": "record",
    "report": "report",
}
"""Every command, in the order of work, and its module of `trueraster.commands`."""


class _Commands(click.Group):
    """The commands, each loaded when it is asked for: one does not wait for what the others need."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(_COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        module = _COMMANDS.get(cmd_name)
        if module is None:
            return None
        found = getattr(importlib.import_module(f"trueraster.commands.{module}"), cmd_name)
        assert isinstance(found, click.Command)
        return found


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
    sys.exit(run(sys.argv[1:]))


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
    # Escapes first: a line separator in a file's name is no blank.
    sys.stderr.write(" ".join(visible(text).split()) + "\n")
    return code
