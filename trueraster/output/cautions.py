"""The cautions of the bench, once for every page that shows them. Common practice, no source."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["CAUTIONS", "SCAN_RATES", "Caution", "cautions_for"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Caution:
    """One danger and what to do about it, in full sentences without markup."""

    title: str
    text: str
    of_movement: bool = False
    """Whether it is of patterns that move."""


SCAN_RATES = Caution(
    title="Scan rates",
    text="Never feed a line or field rate outside the set's stated range: it can destroy the deflection. A set made"
    " for 15 kHz takes 240p, 288p, 480i and 576i, and none of the other named formats.",
)
"""Shown with all the others, and where a scan is refused."""

CAUTIONS = (
    Caution(
        title="A picture tube can kill",
        text="Its final anode runs at 20 to 30 kV, focus and screen grids at hundreds to thousands of volts, and the"
        " tube keeps its charge long after power-off; pulling the plug does not make it safe. Many chassis are live"
        " with mains. Work inside is for qualified service people under local codes, with the set's service notes; the"
        " advice here concerns controls that are reached from outside unless it says so.",
    ),
    Caution(
        title="Glass",
        text="The tube is evacuated. A knock, mostly at the neck, can make it implode. Handle it only with training,"
        " and with eyes and hands protected.",
    ),
    Caution(
        title="X-radiation",
        text="It rises steeply with the high voltage. Never defeat its limits or shielding.",
    ),
    SCAN_RATES,
    Caution(
        title="Phosphor",
        text="Bright still patterns wear the tube. Each pattern states how long it may stay up; a full white field is"
        " not left up.",
    ),
    Caution(
        title="Flashing",
        text="The moving patterns keep within BT.1702, as far as that text is known here. People who are sensitive to"
        " flashing light should not watch them.",
        of_movement=True,
    ),
    Caution(
        title="Heat and magnetism",
        text="Keep vents clear. Degauss only as the set's service notes allow.",
    ),
)


def cautions_for(*, moves: bool) -> tuple[Caution, ...]:
    """The cautions where patterns that move are shown, or none."""
    return tuple(one for one in CAUTIONS if moves or not one.of_movement)
