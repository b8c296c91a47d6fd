"""From the words typed for `scope` to a frame with its format, and to the waveform."""

from __future__ import annotations

import re
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path

from analysis.frame.levels import Frame, frame_signal, read_frame
from analysis.waveform.interface import Interface, SignalKind, SyncOn, TraceKind, interface_of, usual_levels
from analysis.waveform.wave import Source, Waveform, line_waveform, span_waveform
from patterns.catalogue import PATTERNS
from patterns.formats import Family, Format, FormatError
from patterns.lines import field_span, line_of, timing_of
from patterns.modes.free import usual_by, with_timing
from patterns.modes.scan15k import Limits
from patterns.scene import Patch, Scene
from patterns.signal import Edges, Matrix, Range, Sampling
from render.carriers import CARRIERS, default_matrix
from render.produce import produce
from trueraster.options.file_format import format_of_file
from trueraster.options.orders import Wish, orders_of
from trueraster.options.trade import Kind, meant, options_with
from trueraster.options.values import UsageError, choice, format_of, options_of, pattern_of

__all__ = ["View", "view_of", "wanted_of"]

_DEFAULT_FORMAT = "480i"
_BITS = 16
"""Of the file that a pattern is drawn into: a code is 0.01 mV, so that its rounding is not seen."""
_MORE_LINES = 8
"""Lines that are shown on both sides of a field."""
_MOST_FRAMES = 100_000
_LONGEST_S = 10
"""Of what is drawn to show one frame of it: longer than any pattern takes to begin again."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """What to show, as typed; `field` is 0 for the frame, None for a line."""

    line: int | None
    field: int | None
    signal: SignalKind
    levels: int | None
    setup_ire: Fraction
    sync_on: SyncOn | None
    component: str
    frame: int
    code_range: Range | None
    matrix: Matrix | None
    edges: Edges | None


def wanted_of(typed: Mapping[str, str | None], line: int | None, frame: int) -> Wanted:
    """The options as values. Raises UsageError for what fits no choice."""
    field = {"frame": 0, "1": 1, "2": 2, None: None}.get(typed["field"], -1)
    if field == -1:
        raise UsageError(f"--field: got {_short(typed['field'])}; use 1, 2 or frame")
    if line is not None and field is not None:
        raise UsageError("--line and --field: give one of them, a line or a whole field")
    if not 0 <= frame < _MOST_FRAMES:
        raise UsageError(f"--frame: got {frame}; use 0 to {_MOST_FRAMES - 1}")
    signal = choice("--signal", typed["signal"], tuple(SignalKind))
    sync = choice("--sync", typed["sync"], tuple(SyncOn))
    levels = choice("--levels", typed["levels"], ("700", "714"))
    ranged = choice("--range", typed["code_range"], tuple(Range))
    matrix = choice("--matrix", typed["matrix"], tuple(Matrix))
    edges = choice("--edges", typed["edges"], tuple(Edges))
    return Wanted(
        line=line,
        field=field,
        signal=SignalKind(signal or SignalKind.YPBPR),
        levels=None if levels is None else int(levels),
        setup_ire=_setup(typed["setup"]),
        sync_on=None if sync is None else SyncOn(sync),
        component=(typed["component"] or "all").lower(),
        frame=frame,
        code_range=Range(ranged) if ranged else None,
        matrix=Matrix(matrix) if matrix else None,
        edges=Edges(edges) if edges else None,
    )


def _setup(text: str | None) -> Fraction:
    found = re.fullmatch(r"\s*(0|7\.5)(?:\s*ire)?\s*", (text or "0").lower())
    if found is None:
        raise UsageError(f"--setup: got {_short(text)}; use 0 or 7.5 (IRE)")
    return Fraction(found[1])


def _short(text: str | None) -> str:
    return repr(text if text is None or len(text) <= 40 else text[:37] + "...")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class View:
    """A waveform with all that its answer needs."""

    name: str
    """The pattern, or the file."""
    is_file: bool
    wanted: Wanted
    source: Source
    interface: Interface
    wave: Waveform
    line: int | None
    """The system's own number, of a line."""
    patches: tuple[Patch, ...] = ()
    """The patches of a drawn pattern; none for a file."""

    @property
    def format(self) -> Format:
        return self.source.format


def view_of(
    subject: str, fmt: str | None, aspect: str | None, wanted: Wanted, options: Mapping[str, str | None]
) -> View:
    """Draw the pattern or read the file, and make the waveform.

    A pattern is drawn by the project's own writer into a file without loss, which is proved, read back and thrown away.

    Raises:
        UsageError: something typed does not fit.
        ValueError: a file that cannot be read, a line or an interface that the format does not have.
        OSError: there is no room for the temporary file.
    """
    if not subject.strip():
        raise UsageError("give a pattern's name or a file; 'trueraster patterns' lists the patterns")
    patches: tuple[Patch, ...] = ()
    if _is_file(subject):
        given = [f"--{name}" for name, value in options.items() if value is not None]
        given += ["--edges"] if wanted.edges else []
        if given:
            raise UsageError(f"{given[0]}: only for patterns, and {subject[:60]} is a file; leave it out")
        frame = read_frame(Path(subject), wanted.frame)
        chosen = with_scan(format_of_file(frame, fmt, aspect))
        _check_size(frame, chosen)
        interface = _interface(chosen, wanted)
        signal = frame_signal(
            frame, code_range=wanted.code_range, matrix=wanted.matrix, default_matrix=default_matrix(chosen)
        )
        source = Source(frame.picture.planes, chosen, signal)
    else:
        chosen = with_scan(format_of(fmt or _DEFAULT_FORMAT, aspect))
        interface = _interface(chosen, wanted)
        source = _drawn(subject, chosen, wanted, options)
        patches = _scene_of(subject, chosen, options).patches
    traces = _traces(interface, wanted)
    line = None
    if wanted.field is None:
        line = line_of(chosen, chosen.height // 2) if wanted.line is None else wanted.line
        wave = line_waveform(source, interface, line, traces)
    else:
        wave = span_waveform(source, interface, field_span(chosen, wanted.field or None), _MORE_LINES, traces)
    return View(
        name=subject,
        is_file=_is_file(subject),
        wanted=wanted,
        source=source,
        interface=interface,
        wave=wave,
        line=line,
        patches=patches,
    )


def _scene_of(subject: str, fmt: Format, options: Mapping[str, str | None]) -> Scene:
    return pattern_of(subject).scene(fmt, options_with(subject, options_of(options)))


def with_scan(fmt: Format) -> Format:
    """The format, a free raster with the timing that `timing` gives it by default.

    Raises:
        UsageError: it has none.
    """
    if fmt.timing is not None:
        return fmt

    try:
        return with_timing(fmt, usual_by(fmt), Limits())
    except FormatError as error:
        raise UsageError(f"{error} (scope uses the timing of 'trueraster timing {fmt.id}')") from error


def _is_file(subject: str) -> bool:
    """Whether it is a picture file's path: not a pattern's name, and not an own pattern's TOML file."""
    lowered = subject.lower()
    if meant(Kind.PATTERN, lowered) in PATTERNS or lowered.endswith(".toml"):
        return False
    return Path(subject).exists() or "/" in subject or re.search(r"\.\w{2,4}$", subject) is not None


def _check_size(frame: Frame, fmt: Format) -> None:
    height, width = frame.picture.planes[0].shape
    if (width, height) != (fmt.width, fmt.height):
        raise UsageError(
            f"{frame.path}: its frame is {width}x{height}, but {fmt.id} has {fmt.width}x{fmt.height}; give the raster"
            " itself, not a scaled picture"
        )


def _interface(fmt: Format, wanted: Wanted) -> Interface:
    """The interface that is asked for.

    Raises:
        UsageError: the format has no such interface.
    """
    signal, setup_ire = wanted.signal, wanted.setup_ire
    slow = timing_of(fmt).is_15k
    slow_525 = slow and fmt.family is Family.SD525
    levels = usual_levels(fmt, signal) if wanted.levels is None else wanted.levels
    if signal is SignalKind.COMPOSITE and not (slow and fmt.family in (Family.SD525, Family.SD625)):
        raise UsageError(
            f"--signal: {fmt.id} has no composite signal (480i, 576i, 240p and 288p have); use ypbpr or rgb"
        )
    if levels == 714 and not slow_525:
        raise UsageError(f"--levels: 714 mV is for 480i and 240p, and {fmt.id} has 700; leave it out")
    if setup_ire and levels != 714:
        hint = "; add --levels 714" if slow_525 else ""
        raise UsageError(f"--setup: only a 525-line signal of 714 mV has setup{hint}")
    if levels == 714 and signal is SignalKind.YPBPR and not setup_ire:
        raise UsageError(
            "--levels: components of 714 mV have setup; add --setup 7.5, or use 700, or --signal rgb or composite"
        )
    if wanted.sync_on is not None and signal is not SignalKind.RGB:
        raise UsageError("--sync: only for --signal rgb, otherwise luma carries sync; leave it out")
    return interface_of(fmt, signal, levels=levels, setup_ire=setup_ire, sync_on=wanted.sync_on)


def _traces(interface: Interface, wanted: Wanted) -> tuple[TraceKind, ...]:
    if wanted.component == "all":
        return interface.traces
    chosen = tuple(kind for kind in interface.traces if kind.key == wanted.component)
    if not chosen:
        keys = ", ".join(kind.key for kind in interface.traces)
        raise UsageError(
            f"--component: got {_short(wanted.component)}, --signal {interface.signal} has {keys}; use one, or all"
        )
    return chosen


def _drawn(subject: str, fmt: Format, wanted: Wanted, options: Mapping[str, str | None]) -> Source:
    pattern, chosen = pattern_of(subject), options_with(subject, options_of(options))
    rgb = wanted.signal is SignalKind.RGB
    carrier = CARRIERS["ffv1" if rgb else "y4m"]
    # A computer's picture becomes components after its converter: colour is as fine as luma.
    whole = fmt.family is Family.COMPUTER or fmt.width % 2 == 1
    sampling = Sampling.RGB if rgb else Sampling.YCBCR_444 if whole else Sampling.YCBCR_422
    # R'G'B' goes to a converter as well, which rings at hard edges; a computer's raster is as hard as ever.
    edges = wanted.edges or (Edges.SHAPED if rgb and fmt.family is not Family.COMPUTER else None)
    signal = carrier.signal(
        fmt, code_range=wanted.code_range, matrix=wanted.matrix, bits=_BITS, sampling=sampling, edges=edges
    )
    # All frames of a still pattern are one.
    is_still = pattern.scene(fmt, chosen, signal).is_still
    number = 0 if is_still else wanted.frame
    seconds = float((number + 1) / fmt.frame_rate)
    if seconds > _LONGEST_S:
        raise UsageError(
            f"--frame: got {wanted.frame}, but a pattern is drawn for at most {_LONGEST_S} s; use up to "
            f"{int(_LONGEST_S * fmt.frame_rate) - 1}, or give a clip"
        )
    wish = Wish(pattern=pattern, options=chosen, format=fmt, carrier=carrier, signal=signal)
    order = orders_of([wish], seconds=seconds, range_is_chosen=wanted.code_range is not None).orders[0]
    with tempfile.TemporaryDirectory(prefix="trueraster-") as folder:
        path = Path(folder) / f"drawn{carrier.suffix}"
        produce(order, path)
        frame = read_frame(path, number)
    return Source(frame.picture.planes, fmt, replace(signal, bits=frame.picture.tags.bits))
