"""Plots of what `measure colour` found, each with its finding as the title."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from analysis.drawing.plots import INK, PLATE, RULE, SOFT, Plot, about_target, plot_sheet, plot_style, with_minus
from analysis.meter.colours import spectral_locus, uv_of
from analysis.meter.looks import LOOKS, TARGET, label_at
from analysis.meter.primaries.answer import colour_finding
from analysis.meter.primaries.fields import PRIMARIES, SECONDARIES, name_of
from analysis.meter.primaries.measure import Colour
from analysis.meter.readings.types import Field

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["colour_plots"]

Floats = NDArray[np.float64]

_ALL = (*PRIMARIES, *SECONDARIES, Field.GREY)
_WAVELENGTHS = (450, 470, 480, 490, 500, 520, 550, 580, 600, 620, 700)
"""Nanometres that are written beside the locus."""
_RINGS = (0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.2)
"""u'v': where rings are drawn around the target."""


def colour_plots(found: Colour) -> list[Plot]:
    """The chromaticity diagram, the errors around their targets, and the errors of light and of Delta E 2000."""
    with plot_style():
        plots = [_diagram(found), _targets(found)]
        return [*plots, _lights(found)] if _told(found, "delta_e_2000") else plots


def _fields(found: Colour) -> list[Field]:
    return [field for field in _ALL if field in found.seen]


def _told(found: Colour, key: str) -> list[Field]:
    return [field for field in _fields(found) if found.figures.get(f"{name_of(field)}.{key}") is not None]


def _values(found: Colour, fields: list[Field], key: str) -> tuple[Floats, Floats]:
    names = [f"{name_of(field)}.{key}" for field in fields]
    return tuple(np.array([some[name] for name in names], dtype=float) for some in (found.figures, found.uncertainty))  # type: ignore[return-value]


# --- The diagram ------------------------------------------------------------------------------------------------------


def draw_diagram(axes: Axes) -> None:
    """The u'v' diagram's horseshoe, without colours: those of paper and screens would be wrong ones."""
    wavelengths, xy = spectral_locus()
    spots = uv_of(xy)
    axes.plot(*np.concatenate([spots, spots[:1]]).T, color=SOFT, linewidth=1)
    middle = np.array([0.25, 0.4])
    for wavelength in _WAVELENGTHS:
        spot = spots[int(np.argmin(np.abs(wavelengths - wavelength)))]
        away = (spot - middle) / np.hypot(*(spot - middle))
        axes.plot(*spot, ".", color=SOFT, markersize=3)
        axes.annotate(
            f"{wavelength}" + (" nm" if wavelength == _WAVELENGTHS[-1] else ""),
            tuple(spot),
            tuple(9 * away),
            textcoords="offset points",
            ha="center",
            va="center",
            fontsize=7,
            color=SOFT,
        )
    axes.set_aspect("equal")
    axes.set_xlim(-0.02, 0.66)
    axes.set_ylim(-0.02, 0.63)
    axes.set_xlabel("u'")
    axes.set_ylabel("v'")


def _diagram(found: Colour) -> Plot:
    title = colour_finding(found)
    figure, (axes,) = plot_sheet(
        title,
        f"CIE 1976 diagram. Open rings: where {found.standard.short} with white {found.white.title} wants each colour.",
        6.9,
    )
    draw_diagram(axes)
    axes.grid(color=RULE, linewidth=0.6)
    wanted = uv_of(np.array(found.standard.xy))
    # A broad, light line, so that it is seen on both sides of the set's own where the two are one.
    axes.plot(*_closed(wanted).T, "-", color="#b9c2cc", linewidth=5, label=found.standard.short)
    fields = _fields(found)
    if all(field in fields for field in PRIMARIES):
        spots = np.array([_spot(found, field) for field in PRIMARIES])
        axes.plot(*_closed(spots).T, "-", color=INK, linewidth=1.4, label="this set")
    for field in fields:
        look, spot = LOOKS[field], _spot(found, field)
        axes.plot(*uv_of(found.targets[field].xy), **TARGET)
        axes.plot(*spot, look.marker, color=look.ink, markersize=6, markeredgecolor="white", markeredgewidth=0.5)
        label_at(axes, spot, name_of(field), look.ink, away=_ASIDE[field])
    axes.plot([], [], label="wanted", **TARGET)
    axes.legend(loc="lower right")
    return Plot("colour-diagram", title, figure)


_ASIDE = {
    Field.RED: (10, -9),
    Field.GREEN: (-10, 0),
    Field.BLUE: (10, -6),
    Field.CYAN: (-10, 0),
    Field.MAGENTA: (10, -6),
    Field.YELLOW: (4, -10),
    Field.GREY: (10, 0),
}
"""Where each name stands, in points of type: away from the triangle's sides."""


def _closed(corners: Floats) -> Floats:
    return np.concatenate([corners, corners[:1]])


def _spot(found: Colour, field: Field) -> tuple[float, float]:
    u, v = (found.figures[f"{name_of(field)}.{axis}"] for axis in "uv")
    assert u is not None
    assert v is not None
    return u, v


# --- Errors -----------------------------------------------------------------------------------------------------------


def _targets(found: Colour) -> Plot:
    fields = _fields(found)
    (du, wide), (dv, high) = (_values(found, fields, key) for key in ("du", "dv"))
    off, _ = _values(found, fields, "delta_uv")
    worst = int(np.argmax(off))
    title = f"Farthest from its target: {name_of(fields[worst])}, {off[worst]:.4f} in u'v'"
    figure, (axes,) = plot_sheet(
        title, "Each colour as seen from its own target, which is the middle; bars are one standard uncertainty.", 6.2
    )
    reach = 1.25 * max(_RINGS[1], float((np.abs(du) + wide).max()), float((np.abs(dv) + high).max()))
    rings = [ring for ring in _RINGS if reach / 6 < ring < reach]
    about_target(axes, reach, rings)
    # The least certain first, so that its long bars lie below the others.
    for i in np.argsort(-np.hypot(wide, high)):
        look = LOOKS[fields[i]]
        axes.errorbar(
            du[i],
            dv[i],
            xerr=wide[i],
            yerr=high[i],
            marker=look.marker,
            color=look.ink,
            markersize=8,
            # Hollow, so that one on another is still seen.
            markerfacecolor="none",
            markeredgewidth=1.5,
            elinewidth=0.9,
        )
    for i, (x, y) in enumerate(_apart(np.stack([du, dv], axis=-1), np.stack([wide, high], axis=-1), reach, rings)):
        look = LOOKS[fields[i]]
        axes.annotate(
            name_of(fields[i]),
            (du[i], dv[i]),
            (x, y),
            ha="center",
            va="center",
            color=look.ink,
            bbox=PLATE,
            arrowprops={"arrowstyle": "-", "color": look.ink, "linewidth": 0.6, "shrinkA": 0, "shrinkB": 4},
        )
    axes.set_xlabel("off in u', to the right is redder")
    axes.set_ylabel("off in v', up is yellower")
    return Plot("colour-targets", title, figure)


def _apart(spots: Floats, bars: Floats, reach: float, rings: Sequence[float]) -> Floats:
    """Places for names, each beside its spot, as far from all spots and other names as there is room."""
    turn = np.linspace(0, 2 * np.pi, 24, endpoint=False)
    axes = bars[:, None] * np.array([[1, 0], [-1, 0], [0, 1], [0, -1], [0, 0.5], [0, -0.5]])
    figures = np.array([(0.0, -ring) for ring in rings]).reshape(-1, 2)
    marks = np.concatenate([spots, figures, (spots[:, None] + axes).reshape(-1, 2)])
    placed: list[Floats] = []
    for spot in spots:
        tries = spot + 0.16 * reach * np.stack([1.2 * np.cos(turn), 0.7 * np.sin(turn)], axis=-1)
        tries = np.concatenate([tries, spot + 1.7 * (tries - spot)])
        others = np.concatenate([marks, *(place[None] for place in placed)])
        # A name is wider than high.
        gaps = np.abs(tries[:, None] - others[None]) / (0.13 * reach * np.array([1.2, 0.45]))
        room = np.minimum(gaps.max(axis=-1).min(axis=-1), 1.0)
        room -= 0.02 * np.hypot(*(tries - spot).T) / reach + (np.abs(tries).max(axis=-1) > 0.93 * reach)
        placed.append(tries[int(np.argmax(room))])
    return np.array(placed)


def _lights(found: Colour) -> Plot:
    lit = _told(found, "luminance_error_percent")
    fields = _told(found, "delta_e_2000")
    differences, doubts = _values(found, fields, "delta_e_2000")
    worst = int(np.argmax(differences))
    title = f"Largest Delta E 2000: {name_of(fields[worst])}, {differences[worst]:.1f}"
    figure, panels = plot_sheet(
        title, "Bars are what was measured, the lines at their ends one standard uncertainty.", 3.6, 2, sharey=True
    )
    errors, uncertainty = _values(found, lit, "luminance_error_percent")
    rows = {field: i for i, field in enumerate(fields)}
    for axes, some, values, spread, words in (
        (panels[0], lit, errors, uncertainty, "light against what it should be, % (as a share of white)"),
        (panels[1], fields, differences, doubts, "Delta E 2000"),
    ):
        how: dict[str, Any] = {"height": 0.6, "color": [LOOKS[field].ink for field in some]}
        places = [rows[field] for field in some]
        bars = axes.barh(places, values, xerr=spread, ecolor=INK, error_kw={"linewidth": 1.0}, **how)
        for bar, value, doubt in zip(bars, values, spread, strict=True):
            bar.set_edgecolor(INK)
            bar.set_linewidth(0.6)
            bar.set_alpha(0.6)
            text = f"{value:+.1f}" if axes is panels[0] else f"{value:.1f}"
            way = float(np.copysign(1, value))
            place = (value + way * doubt, _middle(bar))
            label_at(axes, place, with_minus(text), INK, away=(4 * way, 0))
        axes.axvline(0, color=INK, linewidth=1)
        axes.grid(False, axis="y")
        axes.set_xlabel(words)
        axes.margins(x=0.22)
    # Less than nothing is no difference.
    panels[1].set_xlim(left=0)
    panels[0].set_yticks(list(rows.values()), [name_of(field) for field in rows])
    panels[0].invert_yaxis()
    return Plot("colour-light", title, figure)


def _middle(bar: Any) -> float:
    return float(bar.get_y() + bar.get_height() / 2)
