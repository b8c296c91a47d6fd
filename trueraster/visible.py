"""Text from files and names as it is shown: what would act on a terminal or break a page is written as an escape."""

from __future__ import annotations

import re

__all__ = ["visible"]

_LAST_OF_PLANES = "".join(chr(plane << 16 | 0xFFFE) + chr(plane << 16 | 0xFFFF) for plane in range(17))
_HIDDEN = re.compile(
    # Control characters but the tab and the line feed; line and paragraph separators; controls of writing direction.
    "[\x00-\x08\x0b-\x1f\x7f-\x9f\u2028\u2029\u202a-\u202e\u2066-\u2069"
    # What UTF-8 does not have, and what no text may hold.
    f"\ud800-\udfff\ufdd0-\ufdef{_LAST_OF_PLANES}]"
)
"""Of Unicode: also everything that a page of HTML must not hold."""


def visible(text: str) -> str:
    r"""Text with escapes such as \x1b and \u202e for characters that are not shown but do something."""
    if text.isprintable():
        return text
    return _HIDDEN.sub(lambda found: ascii(found[0])[1:-1], text)
