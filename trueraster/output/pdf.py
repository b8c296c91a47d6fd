"""A report as PDF, printed from its page by a library that pip installs: one layout for the screen and for paper."""

from __future__ import annotations

import io
import re
from pathlib import Path
from typing import Any

from trueraster.errors import UsageError

__all__ = ["check_pdf", "pdf_of"]

_NEEDED = (
    "--to: a PDF needs the library plutoprint: pip install 'trueraster[pdf]'; or give a name that ends in .html, and"
    " print that page in a browser"
)
_FAMILY = "report"
_FACES = {"regular": ("DejaVuSans.ttf", "normal", "normal"), "bold": ("DejaVuSans-Bold.ttf", "bold", "normal")}
"""Of the font that is installed with matplotlib, so that a page breaks alike on every machine."""


def check_pdf() -> None:
    """Refuse before any work is done where the library is not there.

    Raises:
        UsageError: with the line that says what to install.
    """
    _library()


def _library() -> Any:
    try:
        # 20 ms and 20 MB that only a PDF needs.
        import plutoprint
    except ImportError as error:
        raise UsageError(_NEEDED) from error
    return plutoprint


def pdf_of(page: str) -> bytes:
    """A page of `trueraster.output.page.rendered` as PDF, on the paper that its style names.

    Nothing is fetched: a page has its pictures in it, and an address of anything else is an empty file.

    Raises:
        UsageError: the library is not installed.
    """
    library = _library()

    class Fetcher(library.ResourceFetcher):  # type: ignore[misc, name-defined]
        """Gives the fonts, and what is in the page itself."""

        def fetch_url(self, url: str) -> Any:
            name = url.removeprefix("font:")
            if name in _FACES:
                return library.ResourceData(_font(_FACES[name][0]), "font/ttf", "")
            if url.startswith("data:"):
                return library.default_resource_fetcher.fetch_url(url)
            return library.ResourceData(b"", "text/plain", "utf-8")

    book = library.Book(library.PAGE_SIZE_A4)
    book.custom_resource_fetcher = Fetcher()
    faces = "".join(
        f"@font-face {{ font-family: {_FAMILY}; src: url(font:{name}); font-weight: {weight}; font-style: {style}; }}"
        for name, (_, weight, style) in _FACES.items()
    )
    head, _, body = page.partition("</head>")
    own = f"<style>{faces} body {{ font-family: {_FAMILY}; overflow-wrap: normal; }}</style></head>"
    book.load_html(head + own + re.sub(r">[^<]+", _breakable, body))
    file = io.BytesIO()
    book.write_to_pdf_stream(file)
    return file.getvalue()


_LETTER = r"(?:&[#\w]+;|[^\s&])"
_LONG_WORD, _PIECE = re.compile(_LETTER + "{30,}"), re.compile(_LETTER + "{1,12}")


def _breakable(text: re.Match[str]) -> str:
    """A text between tags whose long words may be broken: one that is too wide would make the whole page smaller."""
    return _LONG_WORD.sub(lambda word: "\u200b".join(_PIECE.findall(word[0])), text[0])


def _font(name: str) -> bytes:
    # Only for its folder of fonts: 100 ms.
    import matplotlib

    return (Path(matplotlib.get_data_path()) / "fonts" / "ttf" / name).read_bytes()
