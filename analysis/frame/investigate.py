"""The whole investigation of a captured frame that is not simply as it was drawn."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from fractions import Fraction
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analysis.frame.faults.chain import to_rgb, to_ycbcr
from analysis.frame.faults.diagnose import Diagnosis, Evidence, diagnose_levels
from analysis.frame.faults.recognise import SMALLEST, Look, best_look, is_flat, likeness, usual_places
from analysis.frame.faults.structure import FieldStructure, Response, chroma_response, field_structure, luma_response
from analysis.frame.findings import Examination, Fault, OtherPatternError
from analysis.frame.fractions import fractions, frame_luma, frame_ycbcr
from analysis.frame.levels import Frame, Reading, Tolerance, check_levels
from analysis.frame.place.axes import Axis, Registration
from analysis.frame.place.drawn import Drawn, Plane
from analysis.frame.place.layout import layout_faults
from analysis.frame.place.register import fit_layouts, register
from patterns.formats import Format
from patterns.pattern import Options, Pattern
from patterns.placement import patch_area
from patterns.scene import Gradient, Patch, Scene
from patterns.signal import Edges, Range, Signal
from render.errors import FileError
from render.patches import MARGIN_LINES, MARGIN_SAMPLES

__all__ = ["Investigation"]

_DOUBTFUL = 0.004
"""Share of a frame's changes left unexplained from which another pattern is looked for."""
_MIRRORED = 0.05
"""The same below which a picture that is turned round is taken for the pattern."""
_SCALED_DOUBT, _LOSSY_DOUBT = 1.5, 2.0
"""How much further off a level may be in a frame that was scaled, and in one coded with loss."""
_NOISY = 1.5
"""Noise, in codes of 8 bits, above which patches are not flat by noise alone: scaling and coding leave less."""
_LOSSY = ("mjpeg", "jpeg2000", "webp", "h264", "hevc", "mpeg2video", "mpeg4", "vp8", "vp9", "av1", "prores", "dvvideo")
_SNOW = 0.1
"""Deviation of a frame's samples, in fractions of white, above which one that is flat on the whole is mere noise."""
_SOFT, _SHARP = 0.9, 1.09
"""Responses outside these are faults in a frame whose samples are the raster's own;"""
_SCALED_SOFT, _SCALED_SHARP = 0.78, 1.13
"""outside these in one that was scaled, which softens or sharpens by itself."""
_CHROMA_SOFT = 0.80
"""The same of chroma; a way through 4:2:0 keeps above it."""


class Investigation:
    """The whole examination of one frame."""

    def __init__(
        self,
        frame: Frame,
        pattern: Pattern,
        scene: Scene,
        fmt: Format,
        signal: Signal,
        tolerance: Tolerance | None,
        others: Callable[[], Sequence[tuple[Pattern, Options]]],
        states_signal: bool,
    ) -> None:
        self.states_signal = states_signal
        self.frame, self.pattern, self.scene, self.fmt = frame, pattern, scene, fmt
        self.signal, self.tolerance, self.others = signal, tolerance, others
        self.luma = frame_luma(frame, signal)
        if min(self.luma.shape) < SMALLEST:
            height, width = self.luma.shape
            raise FileError(f"{frame.path}: {width}x{height} is too small to find a pattern in")
        self.layouts = fit_layouts(fmt, *reversed(self.luma.shape))
        self.drawn = Drawn(scene, fmt, signal.matrix)
        self.seen: NDArray[np.float32] = self.drawn.luma
        self.made = self.seen
        """The same after what was done to its levels."""
        self.woven = self.by_area = False
        self.diagnosis = Diagnosis(faults=(), left=0.0)

    def examination(self) -> Examination:
        place = self._likelier(register(self.luma, self.drawn.luma, self.fmt, layouts=self.layouts))
        fields = self._fields(place)
        if fields.is_wrong:
            self.woven = True
            self.seen = self.made = fields.rows(self.drawn.luma)
            place = register(self.luma, self.seen, self.fmt, layouts=self.layouts)
        self._refuse_other(place)
        place, levels = self._placed(place)
        layout = [
            Fault(id=found.id, confidence=found.confidence, parameters=self._place_words(place, found.sides))
            for found in layout_faults(place, self.layouts)
            # Fields that were dropped or swapped move lines by one.
            if not (
                fields.is_wrong and found.id == "shifted" and abs(place.y.offset) < 1.5 and abs(place.x.offset) < 0.75
            )
        ]
        woven = []
        if fields.is_wrong:
            id = "fields-swapped" if fields.kind == "swapped" else "deinterlaced"
            woven.append(Fault(id=id, confidence=1 - 1 / (1 + fields.gain), parameters={"way": fields.kind}))
        # Where fields are wrong, lines are, and with them what levels are told by.
        faults = (*woven, *levels, *layout, *self._sharpness(place))
        return Examination(check=self.check, faults=faults, reasons=self._reasons(place))

    def _likelier(self, place: Registration) -> Registration:
        """A usual place where that goes better with the frame.

        Swapped guns lead a search by luma astray, and so do words of a signal that the frame need not have.
        """
        if not (self._is_coloured or self.states_signal):
            return place
        own = likeness(self.luma, self.drawn, place).misfit
        usual = usual_places(self.fmt, *reversed(self.luma.shape))
        others = [(likeness(self.luma, self.drawn, other).misfit, other) for other in usual]
        misfit, other = min(others, key=lambda pair: pair[0])
        return other if own > _DOUBTFUL and misfit < (own if self.states_signal else own / 2) else place

    def _fields(self, place: Registration) -> FieldStructure:
        if not self.fmt.interlaced:
            return FieldStructure(kind="woven")
        across = self._across(place)
        filtered = across is not None and not _SOFT < across.factor < _SHARP
        return field_structure(self.luma, self._likest(place), place, filtered)

    def _placed(self, place: Registration) -> tuple[Registration, list[Fault]]:
        """Place and faults of the levels. A tone that is bent, or colours that are others, move an edge's middle: the
        place is found again with the raster as the chain made it."""
        place = self._settled(place)
        levels = self._levels(place)
        if not levels or self.states_signal:
            return place, levels
        again = self._settled(register(self.luma, self._likest(place), self.fmt, start=place))
        return again, self._levels(again)

    def _likest(self, place: Registration) -> Plane:
        """The raster as the chain made it, with the kind of edges that goes best with the frame."""
        if not (self.signal.sampling.is_rgb or self.signal.range is Range.FULL):
            return self.made
        made = [self.made, *self._other_edges()]
        found = [luma_response(self.luma, plane, place) for plane in made]
        told = [(one.plain, i) for i, one in enumerate(found) if one is not None]
        return made[min(told)[1]] if told else self.made

    def _as_made(self, luma: Plane, cb: Plane, cr: Plane) -> Plane:
        """Luma of a drawn raster after what the diagnosis says that the chain did to its levels."""
        ends = self.signal.sampling.is_rgb or self.signal.range is Range.FULL
        if not self.diagnosis.steps and not (ends and self._is_coloured):
            return luma
        # Most rows of a pattern are alike: each kind is worked out once.
        kinds: dict[bytes, int] = {}
        group = [
            kinds.setdefault(b"".join((a.tobytes(), b.tobytes(), c.tobytes())), row)
            for row, (a, b, c) in enumerate(zip(luma, cb, cr, strict=True))
        ]
        first, which = np.unique(group, return_inverse=True)
        ycc = np.stack([luma[first], cb[first], cr[first]], axis=-1)
        rgb = to_rgb(ycc.reshape(-1, 3).astype(np.float64), self.signal.matrix)
        made = to_ycbcr(self.diagnosis.apply(rgb, self.signal), self.signal.matrix)[:, 0]
        rows: Plane = made.reshape(len(first), -1).astype(np.float32)[which]
        return rows

    def _refuse_other(self, place: Registration) -> None:
        """Look for another pattern where this one leaves much unexplained."""
        if is_flat(self.drawn.luma):
            # A plain field has no marks to go by.
            if not is_flat(self.luma):
                self._refuse(best_look(self.frame, self.signal, self.fmt, self.others()))
            return
        own = likeness(self.luma, self.drawn, place, self.seen)
        if own.is_like and own.misfit < _DOUBTFUL:
            return
        if is_flat(self.luma):
            is_field = float(self.luma.mean()) > 0.02 and float(self.luma.std()) < _SNOW
            raise OtherPatternError(self.pattern.id, "field" if is_field else None)
        best = best_look(self.frame, self.signal, self.fmt, self.others())
        # Some patterns are nearly the mirror image of another.
        self._refuse_mirrored(0.3 * min(own.misfit, 1.0 if best is None else best.misfit))
        if best is not None and best.pattern.id != self.pattern.id and best.misfit < 0.3 * own.misfit:
            self._refuse(best)
        if not own.is_like:
            self._refuse(None)

    def _refuse_mirrored(self, most: float) -> None:
        """A picture seen as in a mirror is the pattern yet, but nothing in it lies where it is measured."""
        for words, luma in (
            ("left and right", self.luma[:, ::-1]),
            ("top and bottom", self.luma[::-1]),
            ("left and right, top and bottom", self.luma[::-1, ::-1]),
        ):
            for place in usual_places(self.fmt, *reversed(luma.shape)):
                turned = likeness(luma, self.drawn, place)
                if turned.is_like and turned.misfit < min(most, _MIRRORED):
                    raise OtherPatternError(self.pattern.id, self.pattern.id, words)

    def _refuse(self, look: Look | None) -> None:
        raise OtherPatternError(self.pattern.id, None if look is None else look.pattern.id)

    def _settled(self, place: Registration) -> Registration:
        """The identity where nothing tells against it: then every sample is taken for the raster's own."""
        identity = Registration.whole(self.fmt, *reversed(self.luma.shape))
        usual = usual_places(self.fmt, *reversed(self.luma.shape))
        place = Registration(x=_usual(place.x, [one.x for one in usual]), y=_usual(place.y, [one.y for one in usual]))
        if not identity.is_identity:
            return place
        moved = [
            axis.found
            and max(abs(axis.start), abs(axis.stop - axis.frame)) > 0.2 + 3 * max(axis.offset_error, axis.stop_error)
            for axis in (place.x, place.y)
        ]
        if any(moved):
            return place
        return Registration(
            x=replace(identity.x, softness=place.x.softness), y=replace(identity.y, softness=place.y.softness)
        )

    def _place_words(self, place: Registration, sides: tuple[str, ...]) -> dict[str, Any]:
        return {
            "sides": list(sides),
            "scale_x": place.x.scale if place.x.found else None,
            "scale_y": place.y.scale if place.y.found else None,
            "offset_x": place.x.offset if place.x.found else None,
            "offset_y": place.y.offset if place.y.found else None,
        }

    def _levels(self, place: Registration) -> list[Fault]:
        self.check = check_levels(self.frame, self.scene, self.fmt, self.signal, self.tolerance, place)
        self.by_area = self.woven or not place.is_identity
        if not self.by_area:
            faults = self._diagnosed(self.check.readings, place)
            if not self._altered(place, _SOFT, _SHARP):
                return faults
        # Thin lines may be weak because they are soft: for the diagnosis they are measured by their area.
        self.by_area = True
        readings = check_levels(
            self.frame, self.scene, self.fmt, self.signal, self.tolerance, place, by_area=True
        ).readings
        faults = self._diagnosed(readings, place)
        if self._altered(place, 0.0, _SHARP if place.x.is_whole else _SCALED_SHARP):
            # What sharpening adds beside a line may be cut at the end of the codes, so its area tells nothing.
            thin = {patch.name for patch in self.scene.patches if patch.thin}
            thick = tuple(reading for reading in readings if reading.name not in thin)
            if 0 < len(thick) < len(readings):
                faults = self._diagnosed(thick, place)
        return faults

    def _altered(self, place: Registration, soft: float, sharp: float) -> bool:
        """Whether edges are softer or sharper than the levels that were found make them."""
        found = [self._across(place), luma_response(self.luma, self.made, place, down=True)]
        return any(one is not None and not soft <= one.factor <= sharp and one.uncertainty < 0.1 for one in found)

    def _diagnosed(self, readings: Sequence[Reading], place: Registration) -> list[Fault]:
        patches = {patch.name: patch for patch in self.scene.patches}
        if not place.x.found and layout_faults(place, self.layouts):
            # Where along a gradient a patch lies is not told then, so neither is what it was sent.
            readings = [reading for reading in readings if not patches[reading.name].sloped]
        if not readings:
            return []
        frame, signal = self.frame, self.signal
        # Where flat patches are not flat, what made them so may have moved them a little too; mere noise does not.
        noise = self.check.noise
        doubt = 1.0 if (place.is_identity and noise < 0.1) or noise > _NOISY else _SCALED_DOUBT
        if frame.codec in _LOSSY:
            doubt = _LOSSY_DOUBT
        comb, levels = _comb(frame.picture.planes[0], signal.bits)
        measured = [[np.nan if value is None else value for value in reading.between] for reading in readings]
        slopes = np.zeros((len(readings), 3))
        for i, reading in enumerate(readings):
            if patches[reading.name].sloped:
                slopes[i] = self._half_slope(patches[reading.name])
        thin = np.array([patches[reading.name].thin and self.by_area for reading in readings])
        uncertainty = np.array([[u or 0.0 for u in reading.uncertainty] for reading in readings])
        # A line's area is told less well than its level: converters cut what swings beyond black and white.
        uncertainty[thin] += (
            self._area_doubt(place) * np.sqrt(thin.sum())
            + 0.4 * np.array([[n or 0.0 for n in r.noise] for r in readings])[thin]
        )
        self.diagnosis = found = diagnose_levels(
            Evidence(
                rgb=np.array(
                    [[float(level) for level in (c.red, c.green, c.blue)] for c in (r.sent for r in readings)]
                ),
                measured=np.array(measured, dtype=np.float64),
                uncertainty=uncertainty,
                slopes=slopes,
                signal=signal,
                comb=comb,
                levels=levels,
                doubt=doubt,
            )
        )
        self.made = self._as_made(self.seen, *self.drawn.chroma)
        return [
            Fault(id=fault.id, confidence=min(1.0, fault.confidence), parameters=fault.parameters, of_levels=True)
            for fault in found.faults
        ]

    def _bounds(self, place: Registration) -> tuple[float, float]:
        """Responses outside which edges are softer, or sharper, than a clean chain leaves them."""
        return (_SOFT, _SHARP) if place.x.is_whole else (_SCALED_SOFT, _SCALED_SHARP)

    def _across(self, place: Registration) -> Response | None:
        """The response along the lines, against the kind of edges that was sent.

        A computer's raster has hard edges, and R'G'B' has no wide ones in colour: where such edges account for all,
        nothing was sharpened or softened.
        """
        first = luma_response(self.luma, self.made, place)
        soft, sharp = self._bounds(place)
        if first is None or soft < first.factor < sharp:
            return first
        for drawn in self._other_edges():
            other = luma_response(self.luma, drawn, place)
            if other is not None and soft < other.factor < sharp:
                # Between two filters the noise must not decide.
                accounts = other.plain if place.x.is_whole else other.filtered + 10
                if accounts < first.filtered:
                    return other
        return first

    def _other_edges(self) -> list[NDArray[np.float32]]:
        """Luma of the raster with other edges, after the same chain."""
        hard = replace(self.drawn, edges=Edges.HARD)
        found = [self._as_made(hard.luma, *hard.chroma)]
        if self._is_coloured:
            found.append(self._as_made(*self.drawn.of_guns))
        return found

    @cached_property
    def _is_coloured(self) -> bool:
        return max(float(np.ptp(plane)) for plane in self.drawn.chroma) > 0.05

    def _area_doubt(self, place: Registration) -> float:
        """How far off a line's area may be, in codes: filters keep it the better the finer they sample it."""
        share = 0.006 if place.y.is_whole else 0.02 if place.y.scale > 0.97 else 0.04
        return share / (self.signal.fraction_of(0, 1) - self.signal.fraction_of(0, 0))

    def _half_slope(self, patch: Patch) -> float:
        """Half of what a gradient's level changes by within a patch, as it was measured."""
        shape = next(shape for shape in self.scene.at(Fraction(0)) if isinstance(shape, Gradient))
        span = patch_area(self.fmt, patch, MARGIN_SAMPLES, MARGIN_LINES)
        width = Fraction(span.right - span.left, self.fmt.picture.width)
        return float((shape.stop.green - shape.start.green) * width / (shape.right - shape.left)) / 2

    def _sharpness(self, place: Registration) -> list[Fault]:
        if self.states_signal:
            # Other words have other edges.
            return []
        faults = []
        luma = self._across(place)
        soft, sharp = self._bounds(place)
        ours = 1.0
        if luma is not None and luma.uncertainty < 0.1:
            ours = luma.factor
            id = "softened" if luma.factor < soft else "sharpened" if luma.factor > sharp else None
            if id is not None and abs(luma.factor - 1) > 4 * luma.uncertainty:
                distance = abs(luma.factor - 1) / max(luma.uncertainty, 0.01)
                faults.append(Fault(id=id, confidence=1 - 1 / (1 + distance), parameters={"response": luma.factor}))
        # Down the picture only where lines are as they were sent, in a place that is told.
        down = luma_response(self.luma, self.made, place, down=True) if place.y.found and not self.woven else None
        if not faults and down is not None and down.uncertainty < 0.05:
            least = _SOFT if place.y.is_whole else _SCALED_SOFT
            if down.factor < least - 4 * down.uncertainty:
                distance = (least - down.factor) / max(down.uncertainty, 0.01)
                told = {"response": down.factor}
                faults.append(Fault(id="softened", confidence=1 - 1 / (1 + distance), parameters=told))
        for plane, drawn, step in self._chroma():
            found = chroma_response(plane, drawn, place, step)
            if found is None or found.uncertainty > 0.1:
                continue
            # Luma's own loss at half its frequency is no loss of chroma alone.
            if found.factor < _CHROMA_SOFT * min(1.0, max(ours, 0.01) ** 0.25):
                if found.factor < 0.6 and ours > 0.75:
                    # Where guns are cut, luma suffers a little with chroma.
                    faults = [fault for fault in faults if fault.id != "softened"]
                distance = (1 - found.factor) / max(found.uncertainty, 0.02)
                told = {"response": found.factor}
                faults.append(Fault(id="chroma-softened", confidence=1 - 1 / (1 + distance), parameters=told))
                break
        return faults

    def _chroma(self) -> list[tuple[Any, Any, tuple[int, int]]]:
        signal = self.signal
        if not self._is_coloured:
            return []
        if signal.sampling.is_rgb:
            return [
                (plane, self.drawn.chroma[i], (1, 1)) for i, plane in enumerate(frame_ycbcr(self.frame, signal)[1:])
            ]
        planes, step = self.frame.picture.planes, signal.sampling.chroma_step
        return [(fractions(planes[i + 1], signal, i + 1), self.drawn.chroma[i], step) for i in range(2)]

    def _reasons(self, place: Registration) -> dict[str, str]:
        names = (("x", place.x), ("y", place.y))
        text = "the pattern has no edge in this direction, so scale and place are taken as the likeliest"
        return {f"registration.{name}": text for name, axis in names if not axis.found}


def _usual(axis: Axis, usual: Sequence[Axis]) -> Axis:
    """What nothing tells exactly is not guessed: of the usual places the nearest one is taken."""
    if axis.found:
        return axis
    nearest = min(usual, key=lambda one: abs(one.start - axis.start) + abs(one.stop - axis.stop))
    return replace(axis, scale=nearest.scale, offset=nearest.offset)


def _comb(luma: NDArray[Any], bits: int) -> tuple[int, int]:
    """Low bits, of 8, that are the same in every luma sample, and the number of different codes."""
    codes = np.flatnonzero(np.bincount(luma.ravel(), minlength=1 << bits)).astype(np.int64)
    if len(codes) < 3:
        return 0, len(codes)
    # The highest code may have been cut, and the lowest.
    inner = codes[(codes > 0) & (codes < (1 << bits) - 1)]
    differ = int(np.bitwise_or.reduce(inner ^ inner[0])) if len(inner) else 0
    same = (differ & -differ).bit_length() - 1 if differ else 0
    return max(0, same - (bits - 8)), len(inner)
