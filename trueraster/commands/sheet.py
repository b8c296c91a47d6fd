"""`sheet`: pages to print."""

from __future__ import annotations

from pathlib import Path

import click

from analysis.photo.sheets import PAPERS, SHEETS, write_sheet
from trueraster.options.shared import as_json_option
from trueraster.options.values import UsageError, choice
from trueraster.output.terminal import note, put_json, put_text

__all__ = ["sheet"]


@click.command()
@click.argument("name", metavar="marks|board")
@click.option("--paper", default="a4", show_default=True, help="Paper: a4 or letter.")
@click.option("--to", help="File name that ends in .pdf or .svg.  [default: outputs/NAME.pdf]")
@as_json_option
def sheet(name: str, paper: str, to: str | None, as_json: bool) -> None:
    """Make a page to print, true to scale.

    'marks' are four corner marks, which give the scale in a photograph of a screen. 'board' is the board to photograph
    for 'measure lens'. Print at 100% and check the rulers on the page.
    """
    choice("sheet", name, tuple(SHEETS))
    choice("--paper", paper, tuple(PAPERS))
    path = Path("outputs") / f"{name}.pdf" if to is None else Path(to)
    if path.suffix.lower() not in (".pdf", ".svg"):
        raise UsageError(f"--to: got {(to or '')[:60]!r}, expected a file name that ends in .pdf or .svg")
    page = SHEETS[name](paper)
    write_sheet(page, path)
    if as_json:
        size = {"width": page.width, "height": page.height}
        put_json({"sheet": {"path": str(path), "name": name, "paper": paper, "size_mm": size, "ruler_mm": 100}})
    else:
        put_text(str(path))
    note("Print at 100 %, not 'fit to page'. Then measure the rulers on the page: 100 mm each.")
