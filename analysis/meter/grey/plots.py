"""Plots of what `measure grey` measured, each with its finding as the title."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from analysis.drawing.plots import BLUE, INK, ORANGE, PLATE, SOFT, Plot, about_target, plot_sheet, plot_style
from analysis.meter.colours import bt1886, uv_of, xy_of
from analysis.meter.grey.advice import AIM, FROM_LEVEL
from analysis.meter.grey.answer import grey_finding
from analysis.meter.grey.measure import Grey, balance_of
from analysis.meter.guns import GUNS
from analysis.meter.looks import LOOKS, TARGET, label_at
from analysis.meter.readings.types import Field

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["grey_plots"]

Floats = NDArray[np.float64]

_FINE = np.linspace(0, 1, 201)
_SHOWN = _FINE[_FINE >= FROM_LEVEL - 1e-9]
_RINGS = (0.003, 0.01, 0.03, 0.1)
"""u'v': where rings are drawn around the target."""
_TICKS = (0.0003, 0.001, 0.003, 0.01, 0.03, 0.1, 0.3)
"""u'v': what is written beside a scale by factors of ten."""
_NAMED = (5, 10, 20, 100)
"""Levels that are written beside their marks, if there is room."""


def grey_plots(grey: Grey) -> list[Plot]:
    """Light by level with BT.1886, the guns' balance, the error in u'v' by level, and where the steps lie."""
    with plot_style():
        plots = [_light(grey), _balance(grey), _error(grey), _places(grey)]
    return [plot for plot in plots if plot is not None]


def _column(grey: Grey, name: str, *, uncertainty: bool = False) -> Floats:
    """A figure of each step, NaN where it is not available."""
    return np.array([(s.uncertainty if uncertainty else s.figures).get(name) for s in grey.steps], dtype=float)


def _levels(grey: Grey) -> Floats:
    return np.array([step.level_percent for step in grey.steps])


# --- Light ------------------------------------------------------------------------------------------------------------


def _light(grey: Grey) -> Plot | None:
    levels, light = _levels(grey), _column(grey, "luminance")
    white, black = grey.figures["white_cd_m2"], grey.figures["black_cd_m2"] or 0.0
    error, at = grey.figures["bt1886_error_percent"], grey.figures["bt1886_error_level_percent"]
    lit = light > 0
    gamma = grey.figures["gamma"]
    title = f"Gamma {gamma:.2f}" if gamma is not None else "Light by level"
    if error is not None:
        title += f"; largest deviation from BT.1886 {error:+.0f} % at {at:g} %"
    note = "Marks are readings. The scale of light goes by factors of ten: dark steps are seen as well as bright ones."
    panels = 2 if error is not None else 1
    figure, axes = plot_sheet(title, note, 4.2, panels)
    first = axes[0]
    first.plot(levels[lit], light[lit], "o", color=INK, markersize=5, label="read", zorder=3)
    if white is not None and white > black:
        curve = bt1886(_FINE, white, black)
        seen = curve > min(light[lit].min(), white / 1000) / 3
        first.plot(100 * _FINE[seen], curve[seen], "--", color=ORANGE, linewidth=1.6, label="BT.1886, with its black")
    if grey.guns is not None:
        fitted = grey.guns.xyz(_FINE)[:, 1]
        seen = fitted > light[lit].min() / 3
        first.plot(100 * _FINE[seen], fitted[seen], "-", color=BLUE, linewidth=1.2, label="fitted guns")
    first.set_xlim(-4, 4 + max(100.0, float(levels.max())))
    first.set_yscale("log")
    first.yaxis.set_minor_formatter("")
    first.yaxis.set_major_formatter(lambda value, _: f"{value:g}")
    first.set_xlabel("level, %")
    first.set_ylabel("light, cd/m²")
    first.legend(loc="lower right")
    if error is not None and white is not None:
        _deviation(axes[1], grey, white, black)
    return Plot("grey-light", title, figure)


def _deviation(axes: Axes, grey: Grey, white: float, black: float) -> None:
    levels, light, uncertainty = _levels(grey), _column(grey, "luminance"), _column(grey, "luminance", uncertainty=True)
    used = (levels >= 9.9) & (levels <= 100.5)
    wanted = bt1886(levels[used] / 100, white, black)
    off, spread = 100 * (light[used] / wanted - 1), 100 * uncertainty[used] / wanted
    axes.errorbar(levels[used], off, yerr=spread, fmt="o", color=INK, markersize=5, elinewidth=0.9)
    axes.axhline(0, color=ORANGE, linestyle="--", linewidth=1.6)
    axes.set_xlabel("level, %")
    axes.set_ylabel("deviation from BT.1886, %")


# --- Guns -------------------------------------------------------------------------------------------------------------


def _balance(grey: Grey) -> Plot | None:
    levels = _levels(grey)
    balance = {gun: _column(grey, f"gun_percent.{gun}") for gun in GUNS}
    shown = levels >= 100 * FROM_LEVEL - 0.5
    if not np.isfinite(np.array([values[shown] for values in balance.values()])).any():
        return None
    worst = max(GUNS, key=lambda gun: np.nanmax(np.abs(balance[gun][shown]), initial=0.0))
    at = int(np.nanargmax(np.where(shown, np.abs(balance[worst]), np.nan)))
    title = f"Farthest from balance: {worst} at {levels[at]:g} %, {balance[worst][at]:+.1f} %"
    fitted = grey.gun_percent_of == "model"
    note = "Each gun's light compared with what the target white of the same luminance needs; 0 is right. "
    note += "Marks are steps as read, with one standard uncertainty" + (
        "; lines are the fitted guns." if fitted else "."
    )
    figure, (axes,) = plot_sheet(title, note, 4.4)
    axes.axhline(0, color=INK, linewidth=1)
    ends: list[tuple[float, str]] = []
    if grey.guns is not None:
        curves = balance_of(grey.guns.xyz(_SHOWN), grey.white, grey.primaries.xy)
    for i, gun in enumerate(GUNS):
        look = LOOKS[Field(gun)]
        read = _column(grey, f"gun_percent_read.{gun}")
        uncertainty = _column(grey, f"gun_percent_read.{gun}", uncertainty=True)
        # Beside each other, so that bars of one step do not hide one another.
        axes.errorbar(
            levels[shown] + 0.5 * (i - 1),
            read[shown],
            yerr=uncertainty[shown],
            fmt=look.marker,
            color=look.ink,
            markersize=4.5,
            markerfacecolor="none",
            elinewidth=0.8,
            alpha=0.75,
        )
        if grey.guns is not None and fitted:
            axes.plot(100 * _SHOWN, curves[:, i], linestyle=look.dashes, color=look.ink, linewidth=1.8)
        else:
            axes.plot(levels[shown], balance[gun][shown], linestyle=look.dashes, color=look.ink, linewidth=1.2)
        known = np.flatnonzero(shown & np.isfinite(balance[gun]))
        ends.append((float(balance[gun][known[-1]]), gun))
    low, high = axes.get_ylim()
    last = float(levels[shown][-1])
    for y, (_, gun) in zip(_spaced([y for y, _ in sorted(ends)], 0.06 * (high - low)), sorted(ends), strict=True):
        label_at(axes, (last, y), gun, LOOKS[Field(gun)].ink, away=(8, 0))
    axes.set_xlim(0, last + 12)
    axes.set_xticks([tick for tick in range(0, 101, 10) if tick <= last])
    axes.set_xlabel("level, %")
    axes.set_ylabel("too much light, %")
    return Plot("grey-guns", title, figure)


def _spaced(places: list[float], least: float) -> list[float]:
    """Rising places, moved apart so that words beside them have room."""
    spaced = list(places)
    for _ in range(20):
        for i in range(len(spaced) - 1):
            lack = least - (spaced[i + 1] - spaced[i])
            if lack > 0:
                spaced[i] -= lack / 2
                spaced[i + 1] += lack / 2
    return spaced


# --- Error ------------------------------------------------------------------------------------------------------------


def _error(grey: Grey) -> Plot | None:
    levels, off, uncertainty = _levels(grey), _column(grey, "delta_uv"), _column(grey, "delta_uv", uncertainty=True)
    shown = np.isfinite(off) & (levels >= 100 * FROM_LEVEL - 0.5)
    if not shown.any():
        return None
    title = grey_finding(grey)
    is_wide = float((off + uncertainty)[shown].max()) > 4 * AIM
    scale = ", on a scale by factors of ten" if is_wide else ""
    note = f"Distance from {grey.white.title} in u'v'{scale}. Bars: one standard uncertainty."
    figure, (axes,) = plot_sheet(title, note, 4.2)
    least = _TICKS[0] if is_wide else 0.0
    # What is below would run out of the picture on this scale.
    low = np.minimum(uncertainty, np.maximum(off - least, 0))
    axes.errorbar(
        levels[shown],
        np.maximum(off[shown], least),
        yerr=[low[shown], uncertainty[shown]],
        fmt="o",
        color=INK,
        markersize=5,
        elinewidth=0.9,
        label="read",
    )
    if grey.gun_percent_of == "model":
        assert grey.guns is not None
        xyz = grey.guns.xyz(_SHOWN)
        fitted = np.where(xyz[:, 1] > 0, np.hypot(*(uv_of(xy_of(xyz)) - uv_of(grey.white.xy)).T), np.nan)
        axes.plot(100 * _SHOWN, np.maximum(fitted, least), "-", color=BLUE, linewidth=1.8, label="fitted guns")
    advice = grey.advice
    if advice is not None and advice.items:
        steps = [step for step in advice.steps if step.level >= FROM_LEVEL - 0.005]
        axes.plot(
            [100 * step.level for step in steps],
            [max(step.likely, least) for step in steps],
            linestyle=(0, (1.2, 1.5)),
            marker="v",
            markersize=4,
            color=BLUE,
            linewidth=1.5,
            label="once the advice is followed, likely within",
        )
    axes.axhline(AIM, color=ORANGE, linestyle="--", linewidth=1.6, label=f"aim, {AIM:g}")
    if is_wide:
        axes.set_yscale("log")
        axes.set_yticks(_TICKS)
        axes.set_yticks([], minor=True)
        axes.set_ylim(least, 1.5 * max(AIM, float((off + uncertainty)[shown].max())))
    else:
        axes.set_ylim(bottom=0)
    axes.yaxis.set_major_formatter(lambda value, _: f"{value:g}")
    axes.set_xlabel("level, %")
    axes.set_ylabel("colour error, u'v'")
    # Beside the marks, which may lie anywhere.
    axes.legend(loc="lower center", bbox_to_anchor=(0.5, 1.0), ncols=4, columnspacing=1.2)
    return Plot("grey-error", title, figure)


# --- Places -----------------------------------------------------------------------------------------------------------


def _places(grey: Grey) -> Plot | None:
    levels = _levels(grey)
    spots = np.stack([_column(grey, "u"), _column(grey, "v")], axis=-1)
    uncertainties = np.stack([_column(grey, name, uncertainty=True) for name in "uv"], axis=-1)
    shown = np.isfinite(spots).all(axis=1) & (levels >= 100 * FROM_LEVEL - 0.5)
    if not shown.any():
        return None
    target = uv_of(grey.white.xy)
    off = spots - target
    mean = np.mean(off[shown], axis=0)
    title = f"Greys lie {_way(mean)} {grey.white.title}"
    note = "Each step as seen from the target, which is the middle; the path goes from dark to bright."
    figure, (axes,) = plot_sheet(title, note, 6.0)
    reach = 1.2 * max(1.3 * _RINGS[0], float(np.abs(off[shown]).max()))
    about_target(axes, reach, [ring for ring in _RINGS if ring < reach])
    if grey.guns is not None and grey.gun_percent_of == "model":
        xyz = grey.guns.xyz(_SHOWN)
        path = uv_of(xy_of(xyz[xyz[:, 1] > 0])) - target
        axes.plot(*path.T, "-", color=BLUE, linewidth=1.6, label="fitted guns")
    axes.errorbar(
        off[shown, 0],
        off[shown, 1],
        xerr=uncertainties[shown, 0],
        yerr=uncertainties[shown, 1],
        fmt="o",
        color=INK,
        markersize=4.5,
        elinewidth=0.7,
        ecolor=SOFT,
        label="read",
    )
    axes.plot(0, 0, label="target", **TARGET)
    _name_steps(axes, off[shown], levels[shown], 0.12 * reach)
    axes.legend(loc="upper left", bbox_to_anchor=(1.0, 1.0))
    axes.set_xlabel("error in u', to the right is redder")
    axes.set_ylabel("error in v', up is yellower")
    return Plot("grey-places", title, figure)


def _name_steps(axes: Axes, places: Floats, levels: Floats, apart: float) -> None:
    """Write the usual levels beside their steps, but none within `apart` of one that is written."""
    written: list[Floats] = []
    for place, level in zip(places, levels, strict=True):
        if level in _NAMED and all(np.hypot(*(place - other)) > apart for other in written):
            written.append(place)
            # Outward, where no other step lies but on the far side of the target.
            way = place / max(float(np.hypot(*place)), 1e-9)
            axes.annotate(
                f"{level:g} %",
                (place[0], place[1]),
                (24 * way[0], 15 * way[1]),
                textcoords="offset points",
                ha="center",
                va="center",
                bbox=PLATE,
            )


def _way(off: Floats) -> str:
    """Where greys lie on the whole, in words of colour."""
    du, dv = off
    if np.hypot(du, dv) < AIM / 2:
        return "around"
    angle = np.degrees(np.arctan2(dv, du)) % 360
    words = ("red", "orange", "yellow", "green", "cyan", "blue", "violet", "magenta")
    return f"on the {words[int((angle + 22.5) // 45) % 8]} side of"
