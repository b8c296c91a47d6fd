"""What is typed for a record, turned into its values. Every mistake names the option."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import date, datetime
from pathlib import Path
from typing import Any

from trueraster.options.values import UsageError, format_of
from trueraster.record.schema import Stage

__all__ = ["date_of", "details_of", "limits_of", "now", "record_path", "stage_of", "words_of"]

_STAGES = {"before": Stage.AS_FOUND, "after": Stage.AFTER_ADJUSTMENT}
"""What people call them besides."""

MOST_LETTERS = 2000
"""Of one text: half a page."""


def now() -> str:
    """This moment in ISO 8601, in the bench's own time and with its distance from UTC."""
    return datetime.now().astimezone().isoformat(timespec="seconds")


def date_of(text: str | None) -> str:
    """A day as it was typed, '2026-11-26'; now if none was.

    Raises:
        UsageError: it is no day, or one to come.
    """
    if text is None:
        return now()
    try:
        day = date.fromisoformat(text.strip())
    except ValueError as error:
        raise UsageError(f"--date: got {text[:40]!r}, a day such as 2026-11-26 is expected") from error
    # East of the bench it may be tomorrow already.
    if (day - date.today()).days > 1:
        raise UsageError(f"--date: {day.isoformat()} is still to come")
    return day.isoformat()


def words_of(name: str, text: str | None) -> str | None:
    """Words on one line.

    Raises:
        UsageError: they are too long, or hold what cannot be shown.
    """
    if text is None:
        return None
    plain = " ".join(text.split())
    if len(plain) > MOST_LETTERS:
        raise UsageError(f"{name}: {len(plain)} letters are too many, at most {MOST_LETTERS} are kept")
    if not plain.isprintable():
        raise UsageError(f"{name}: got {plain[:40]!r}, which holds signs that cannot be shown")
    return plain


def hours_of(text: str | None) -> int | float | None:
    """Hours of use: '18200', '18200.5' or '18200 h'.

    Raises:
        UsageError: it is no such number.
    """
    if text is None:
        return None
    found = re.fullmatch(r"\s*(\d{1,7})(\.\d{1,2})?\s*(?:h|hours)?\s*", text)
    if found is None:
        raise UsageError(f"--hours: got {text[:40]!r}, a number of hours such as 18200 is expected")
    return float(found[1] + found[2]) if found[2] else int(found[1])


def formats_of(typed: Sequence[str]) -> list[str] | None:
    """Scan formats, with commas or repeated, by their names; None if none was typed.

    Raises:
        UsageError: one is not known.
    """
    parts = [part.strip() for text in typed for part in text.split(",")]
    if not typed:
        return None
    try:
        return list(dict.fromkeys(format_of(part, None).id for part in parts if part))
    except ValueError as error:
        raise UsageError(f"--accepts: {error}") from error


def details_of(typed: dict[str, Any]) -> tuple[dict[str, Any], dict[str, Any]]:
    """What was typed of the set and of the record; None where nothing was."""
    inputs = [words_of("--input", part) for text in typed["inputs"] for part in text.split(",")]
    of_set = {
        "name": words_of("--set", typed["name"]),
        "serial": words_of("--serial", typed["serial"]),
        "hours": hours_of(typed["hours"]),
        "inputs": list(dict.fromkeys(filter(None, inputs))) if typed["inputs"] else None,
        "formats": formats_of(typed["accepts"]),
        "condition": words_of("--condition", typed["condition"]),
        "set_class": typed["set_class"],
    }
    if of_set["name"] == "":
        raise UsageError("--set: the set needs a name, such as '14-inch monitor, no. 0412'")
    of_record = {name: words_of(f"--{name}", typed[name]) for name in ("job", "bench", "technician")}
    return of_set, of_record


def limits_of(typed: Sequence[str]) -> dict[str, float | None]:
    """Tolerances as 'FIGURE=LIMIT'; None for one that is to be taken away.

    Raises:
        UsageError: one is of another form, or of no figure that there is.
    """
    # The usual limits are in the rooms that measure, whose libraries nothing else here needs: 200 ms.
    from trueraster.report.tolerancefile import nearest_name

    limits: dict[str, float | None] = {}
    for text in typed:
        found = re.fullmatch(r"\s*([a-z_]+(?:\.[a-z0-9_*]+)+)\s*=\s*(\d{1,6}(?:\.\d{1,6})?)?\s*", text)
        if found is None:
            raise UsageError(
                f"--tolerance: got {text[:40]!r}, a figure and its limit as convergence.centre_max_mm=0.3 are expected"
            )
        near = nearest_name(found[1]) if found[2] else found[1]
        if near != found[1]:
            hint = f"is {near!r} meant? " if near else ""
            raise UsageError(
                f"--tolerance: no figure is called {found[1][:60]!r}; {hint}'trueraster report --tolerances-template "
                "FILE.toml' has all names"
            )
        limits[found[1]] = float(found[2]) if found[2] else None
    return limits


def stage_of(text: str, option: str = "STAGE") -> Stage:
    """A stage by its name, or as before or after; a mistake names `option`.

    Raises:
        UsageError: there is no such stage.
    """
    plain = text.strip().lower().replace(" ", "-").replace("_", "-")
    try:
        return _STAGES.get(plain) or Stage(plain)
    except ValueError as error:
        raise UsageError(f"{option}: got {text[:40]!r}, allowed are {', '.join(Stage)}") from error


def record_path(text: Path) -> Path:
    """The name of a new record.

    Raises:
        UsageError: it does not end in .json, or is a folder's.
    """
    if text.suffix.lower() != ".json":
        raise UsageError(f"RECORD: got {str(text)[:60]!r}, a file name that ends in .json is expected")
    if text.is_dir():
        raise UsageError(f"RECORD: {text} is a folder")
    return text
