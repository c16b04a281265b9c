"""Cross-sections of a simulated heap: temperature, oxygen and moisture at a few days.

Units: metres to scale; degrees C, % oxygen of dry gas, % water of wet mass; pixels.
Conventions: scales are fixed (0-80 C, 0-21 %, 20-80 %), so that heaps and days compare; contours
carry their number; probe spots in the plane are rings with their value, those out of it faint
rings; air flow is drawn as short lines in the oxygen panels; pipes are rings where they cross the
plane and pairs of lines along it, grey while plugged.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from heapwright.engine.run import Run, Snapshot
from heapwright.reports.cut import BEHIND, contour_lines, skin, spread_out
from heapwright.reports.pictures import Picture, picture, shades
from heapwright.reports.style import FAINT, INK, PAPER, SOFT, WIDE_PX, fitted
from heapwright.reports.svg import Canvas

__all__ = ["chosen_days", "heap_sections"]

Along = Literal["x", "y"]
Floats = NDArray[np.float64]

#: field: words, map, scale, contours, factor to the unit shown, unit
_SHOWN: dict[str, tuple[str, str, tuple[float, float], tuple[float, ...], float, str]] = {
    "temp_c": ("temperature", "heat", (0, 80), (10, 20, 30, 40, 50, 55, 60, 65, 70, 75), 1, "°C"),
    "o2": ("oxygen, and the way of the air", "air", (0, 21), (1, 5, 10, 15, 18, 20), 100, "%"),
    "moisture_wb": ("water in the wet mass", "water", (20, 80), (30, 40, 50, 60, 70), 100, "%"),
}
_LEFT, _GAP, _HEAD, _BAR = 62.0, 16.0, 52.0, 50.0
#: colour bars end this far inside their panels, so that their end numbers keep apart
_INSET = 6.0
#: panels wider than this over their height stand below each other
_LONG = 3.2
_STILL = 0.02


@dataclass(frozen=True, slots=True)
class _View:
    """A vertical plane through the middle: which axis it runs along, and its frame [m]."""

    along: Along
    low: float
    high: float
    top: float

    @property
    def aspect(self) -> float:
        """Width over height."""
        return (self.high - self.low) / self.top


def chosen_days(run: Run) -> list[int]:
    """Which snapshots show the course: early, at the hottest, on the way down, at the end."""
    if not run.snapshots:
        return []
    hours = np.array([s.hours for s in run.snapshots])
    core = np.interp(hours, run.hours, run.curves["core_c"])
    peak, last = int(core.argmax()), len(hours) - 1
    early = min(int(np.searchsorted(hours, min(24.0, hours[-1]))), last)
    later = (peak + last) // 2
    wanted = [early, peak, later, last]
    if peak <= early and last > 2:
        wanted.append((later + last) // 2)
    return sorted(set(wanted))


def heap_sections(
    run: Run, *, along: Along, title: str, prefix: str = "", note: str = ""
) -> Picture:
    """A section through the middle along x or across it (y), one row a day, as SVG and PNG.

    title : the heap and its way; note : before the explanation, as "INVENTED".
    """
    view = _view(run, along)
    picks = chosen_days(run)
    stacked = view.aspect > _LONG
    columns = 1 if stacked else 3
    inner = WIDE_PX - _LEFT - 14
    width = (inner - (columns - 1) * _GAP) / columns
    height = width / view.aspect
    row_px = height + 20

    def draw() -> Canvas:
        rows = len(picks) * (len(_SHOWN) if stacked else 1)
        canvas = Canvas.of(WIDE_PX, _HEAD + _BAR + rows * row_px + 20)
        where = "Along (x)" if along == "x" else "Across (y)"
        canvas.text(
            14, 24, fitted(f"{title}: simulated", inner, 15, bold=True), fontsize=15,
            fontweight="bold",
        )  # fmt: skip
        said = f"{where}, through the middle, to scale. Rings with numbers: probe spots"
        said += "; large rings, double lines: pipes." if run.heap.pipes else "."
        canvas.text(14, 43, f"{note} {said}".strip(), fontsize=11, color=SOFT)
        _bars(canvas, inner)
        place = 0
        for pick in picks:
            shot = run.snapshots[pick]
            for n, field in enumerate(_SHOWN):
                x = _LEFT + (0 if stacked else n * (width + _GAP))
                y = _HEAD + _BAR + place * row_px + 8
                ax = canvas.axes(x, y, width, height)
                _panel(ax, run, shot, field, view)
                if n == 0:
                    canvas.text(14, y + 14, f"day {shot.hours / 24:.0f}", fontsize=12,
                                fontweight="bold")  # fmt: skip
                place += stacked
            place += not stacked
        return canvas

    shown = ", ".join(f"{run.snapshots[k].hours / 24:.0f}" for k in picks)
    return picture(
        draw, prefix or f"section-{along}", title=f"{title}: section along {along}",
        desc=f"Temperature, oxygen and moisture on days {shown}.",
    )  # fmt: skip


def _view(run: Run, along: Along) -> _View:
    z, y, x = run.axes()
    axis, half = (x if along == "x" else y), run.mesh.dx_m / 2
    active = run.mesh.active[1:-1, 1:-1, 1:-1]
    used = np.flatnonzero(active.any(axis=(0, 1) if along == "x" else (0, 2)))
    levels = np.flatnonzero(active.any(axis=(1, 2)))
    room = 0.1
    return _View(
        along, float(axis[used[0]]) - half - room, float(axis[used[-1]]) + half + room,
        float(z[levels[-1]]) + half + 0.06,
    )  # fmt: skip


def _bars(canvas: Canvas, inner: float) -> None:
    """One colour bar a field, with its name, unit and ticks."""
    from matplotlib.cm import ScalarMappable
    from matplotlib.colors import Normalize

    width = (inner - 2 * _GAP) / 3
    for n, (words, name, (low, high), _, _, unit) in enumerate(_SHOWN.values()):
        x = _LEFT + n * (width + _GAP)
        canvas.text(x, _HEAD + 14, f"{words}, {unit}", fontsize=12)
        ax = canvas.axes(x + _INSET, _HEAD + 20, width - 2 * _INSET, 9)
        bar = canvas.figure.colorbar(
            ScalarMappable(Normalize(low, high), shades(name)), cax=ax, orientation="horizontal"
        )
        bar.outline.set_edgecolor(FAINT)
        bar.outline.set_linewidth(0.6)
        bar.set_ticks([low, *np.arange(10 * (low // 10 + 1), high, 10 if n != 1 else 5), high]
                      if n != 1 else [0, 5, 10, 15, 21])  # fmt: skip
        ax.tick_params(labelsize=10, length=2, pad=1)


# --- one panel -----------------------------------------------------------------------------------


def _panel(ax: Any, run: Run, shot: Snapshot, field: str, view: _View) -> None:
    _, name, (low, high), levels, factor, _ = _SHOWN[field]
    across, up, values = _plane(shot, field, view.along)
    values = values * factor
    ax.set_xlim(view.low, view.high)
    ax.set_ylim(0, view.top)
    ax.set_aspect("equal")
    ax.set_anchor("W")
    patch = skin(ax, across, up, np.isfinite(values))
    d = shot.mesh.dx_m
    image = ax.imshow(
        spread_out(values), origin="lower", cmap=shades(name), vmin=low, vmax=high,
        interpolation="bilinear", zorder=1, aspect="equal",
        extent=(across[0] - d / 2, across[-1] + d / 2, up[0] - d / 2, up[-1] + d / 2),
    )  # fmt: skip
    image.set_clip_path(patch)
    ax.set_xlim(view.low, view.high)
    ax.set_ylim(0, view.top)
    taken = _spots(ax, run, shot, field, factor, view.along)
    taken += _pipes(ax, run, shot, view.along)
    contour_lines(ax, across, up, values, levels, (low, high), taken)
    if field == "o2":
        _flow(ax, shot, view.along, across, up, patch)
    _ground(ax, run, view)


def _plane(shot: Snapshot, field: str, along: Along) -> tuple[Floats, Floats, Floats]:
    """Centres along the plane and up, and the field there (nz, n), NaN outside the heap."""
    m = shot.mesh
    box = np.full(m.active.shape, np.nan)
    box.ravel()[m.cells.astype(np.int64)] = shot.fields[field]
    box = box[1:-1, 1:-1, 1:-1]
    nz, ny, nx = m.shape
    x0, y0, z0 = m.origin_m
    up = z0 + (np.arange(nz) + 0.5) * m.dx_m
    n = ny if along == "x" else nx
    first, second = (n - 1) // 2, n // 2
    pair = box[:, [first, second], :] if along == "x" else box[:, :, [first, second]]
    axis = 1 if along == "x" else 2
    known = np.isfinite(pair)
    total = np.where(known, pair, 0.0).sum(axis=axis)
    count = known.sum(axis=axis)
    middle = np.where(count > 0, total / np.maximum(count, 1), np.nan)
    start, size = (x0, nx) if along == "x" else (y0, ny)
    along_m = start + (np.arange(size) + 0.5) * m.dx_m
    return np.asarray(along_m), np.asarray(up), np.asarray(middle)


def _flow(ax: Any, shot: Snapshot, along: Along, across: Floats, up: Floats, patch: Any) -> None:
    """The way of the gas as short lines with a head, and how fast it goes at most."""
    _, _, u = _plane(shot, f"flow_{along}_mm_s", along)
    _, _, w = _plane(shot, "flow_z_mm_s", along)
    speed = np.hypot(u, w)
    fastest = float(np.nanmax(speed)) if np.isfinite(speed).any() else 0.0
    if fastest < _STILL or min(u.shape) < 3:
        said = "air hardly moves"
    else:
        said = f"up to {fastest:.1f} mm/s" if fastest >= 0.1 else f"up to {fastest:.2f} mm/s"
        long = max(1.0, u.shape[1] / u.shape[0] / 1.7)
        lines = ax.streamplot(
            across, up, np.ma.masked_invalid(u), np.ma.masked_invalid(w),
            density=(0.55 * long, 0.55),
            color=INK, linewidth=0.9, arrowsize=0.8, maxlength=0.6 / long, minlength=0.08 / long,
            zorder=3,
        )  # fmt: skip
        lines.lines.set_clip_path(patch)
        lines.lines.set_path_effects(_halo(1.8))
    ax.annotate(
        said, (1, 1), xycoords="axes fraction", xytext=(0, -3), textcoords="offset points",
        ha="right", va="top", fontsize=9, color=SOFT, bbox=BEHIND, zorder=7,
    )  # fmt: skip


def _halo(width: float) -> list[Any]:
    from matplotlib.patheffects import Normal, Stroke

    return [Stroke(linewidth=width, foreground=PAPER, alpha=0.8), Normal()]


def _grown(run: Run, shot: Snapshot) -> tuple[float, float]:
    """What the heap measures now over as built, across and in height."""
    now, first = shot.mesh, run.mesh

    def size(mesh: Any) -> tuple[float, float]:
        active = mesh.active
        return (
            float(active.any(axis=(0, 1)).sum()) * mesh.dx_m,
            float(active.any(axis=(1, 2)).sum()) * mesh.dx_m,
        )

    (w, h), (w0, h0) = size(now), size(first)
    return w / w0, h / h0


def _placed(
    point_m: tuple[float, float, float], shot: Snapshot, side: float, up: float
) -> tuple[float, float, float]:
    """A place given in the heap as built, in the heap as it is at a snapshot."""
    x, y, z = point_m
    return shot.mesh.lifted((x * side, y * side, z * up))


def _spots(
    ax: Any, run: Run, shot: Snapshot, field: str, factor: float, along: Along
) -> list[tuple[float, float]]:
    """Rings of the spots, with the value where they lie in the plane; returns the places used."""
    side, up = _grown(run, shot)
    right = ax.get_xlim()[1]
    taken = []
    for spot in run.heap.spots:
        x, y, z = _placed(spot.point_m, shot, side, up)
        at, off = (x, y) if along == "x" else (y, x)
        near = abs(off) <= 1.01 * run.mesh.dx_m
        ax.plot(
            [at], [z], "o", markersize=6 if near else 4,
            markerfacecolor=PAPER if near else "none", markeredgecolor=INK if near else SOFT,
            markeredgewidth=1.1 if near else 0.7, zorder=6,
        )  # fmt: skip
        taken.append((at, z))
        if not near:
            continue
        value = factor * float(np.interp(shot.hours, run.hours, run.spots[spot.name][field]))
        ha, shift = ("right", -6) if at > 0.6 * right else ("left", 6)
        ax.annotate(
            f"{value:.0f}", (at, z), xytext=(shift, 0), textcoords="offset points",
            ha=ha, va="center", fontsize=10, fontweight="bold", zorder=7,
            bbox=BEHIND,
        )  # fmt: skip
        taken.append((at + (0.1 if ha == "left" else -0.1) * right, z))
    return taken


def _pipe_state(run: Run, hours: float) -> str:
    state = ""
    for done in run.done:
        if done.hours <= hours + 1e-6 and done.kind.startswith("vent ") and state != "pulled":
            state = done.kind.removeprefix("vent ")
    return {"opened": "open"}.get(state, state)


def _pipes(ax: Any, run: Run, shot: Snapshot, along: Along) -> list[tuple[float, float]]:
    """Pipes along the plane as pairs of lines, those across it as rings; their places."""
    from matplotlib.patches import Circle

    now = _pipe_state(run, shot.hours)
    if now == "pulled":
        return []
    side, up = _grown(run, shot)
    taken: list[tuple[float, float]] = []
    for pipe in run.heap.pipes:
        shut = (now or pipe.state) == "plugged"
        hue = FAINT if shut else INK
        points = [_placed(point, shot, side, up) for point in pipe.points_m]
        (ax0, ay0, az0), (ax1, ay1, az1) = points[0], points[-1]
        a0, a1 = (ax0, ax1) if along == "x" else (ay0, ay1)
        o0, o1 = (ay0, ay1) if along == "x" else (ax0, ax1)
        if abs(a1 - a0) < 1e-6 and abs(o1 - o0) > abs(az1 - az0):
            az0 = (az0 + az1) / 2
            ax.add_patch(Circle((a0, az0), pipe.diameter_m / 2, facecolor=PAPER, edgecolor=hue,
                                linewidth=1.4, zorder=5))  # fmt: skip
            taken.append((a0, az0))
            continue
        inside = abs(o0) < run.mesh.dx_m and abs(o1) < run.mesh.dx_m
        length = float(np.hypot(a1 - a0, az1 - az0))
        nx, nz = -(az1 - az0) / length, (a1 - a0) / length
        r = pipe.diameter_m / 2
        for sign in (-1, 1):
            ax.plot(
                [a0 + sign * r * nx, a1 + sign * r * nx],
                [az0 + sign * r * nz, az1 + sign * r * nz],
                color=hue, linewidth=1.2 if inside else 0.8, zorder=5,
                linestyle="-" if inside else (0, (3, 2)), alpha=1.0 if inside else 0.7,
            )  # fmt: skip
    return taken


def _ground(ax: Any, run: Run, view: _View) -> None:
    """The ground as a line, earth below it, and marks every half metre."""
    rise, x0 = run.mesh.rise, run.mesh.origin_m[0]
    ends = np.array([view.low, view.high])
    level = rise * (ends - x0) if view.along == "x" else np.full(2, rise * -x0)
    ax.fill_between(ends, level, -1, color="#d9d0bf", linewidth=0, zorder=4.2)
    ax.plot(ends, level, color=INK, linewidth=1.4, zorder=4.5, clip_on=False)
    for side in ("left", "top", "right", "bottom"):
        ax.spines[side].set_visible(False)
    step = 0.5 if view.high - view.low < 4 else 1.0 if view.high - view.low < 12 else 5.0
    reach = int((view.high - 0.05) / step)
    ax.set_xticks([k * step for k in range(-reach, reach + 1)])
    ax.tick_params(axis="x", labelsize=9, length=2, pad=1)
    ax.xaxis.set_major_formatter(lambda v, _: "0 m" if v == 0 else f"{v:g}".replace("-", "−"))
    ax.set_yticks([])
