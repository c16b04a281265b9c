"""Pictures drawn for the tests: a chart, a card, particles of known size. All invented."""

from __future__ import annotations

from io import BytesIO

import numpy as np
from numpy.typing import NDArray

from heapwright.science.pictures import chart, srgb

__all__ = ["WARM", "as_file", "cast_on", "chart_picture", "discs"]

#: light of casts as 3 by 3, in linear light
WARM = np.diag([1.0, 0.78, 0.48])


def cast_on(linear: NDArray[np.float64], cast: NDArray[np.float64]) -> NDArray[np.uint8]:
    """What a camera would keep of that light under a cast: 8 bits, cut off at both ends."""
    seen = linear @ cast[:, :3].T + (cast[:, 3] if cast.shape[1] == 4 else 0.0)
    return np.clip(srgb(seen).round(), 0, 255).astype(np.uint8)


def chart_picture(
    cast: NDArray[np.float64], *, patch: int = 40, noise: float = 0.0, ground: float = 0.3
) -> tuple[NDArray[np.uint8], NDArray[np.float64]]:
    """A picture of the chart, and the corners of the chart in it; noise : of 255."""
    linear = np.full((4 * patch + 40, 6 * patch + 40, 3), ground)
    for k, p in enumerate(chart()):
        y, x = 20 + k // 6 * patch, 20 + k % 6 * patch
        linear[y + 2 : y + patch - 2, x + 2 : x + patch - 2] = np.maximum(p.light, 0.0)
    made = cast_on(linear, cast).astype(float)
    made += np.random.default_rng(7).normal(0, noise, made.shape) if noise else 0.0
    w, h = 20 + 6 * patch, 20 + 4 * patch
    corners = np.array([[20, 20], [w, 20], [w, h], [20, h]], dtype=float)
    return np.clip(made.round(), 0, 255).astype(np.uint8), corners


def discs(
    diameters_px: list[float], *, columns: int = 6, noise: float = 0.02, blur: float = 0.0,
    dark: bool = True, apart: float = 1.3, stretch: float = 1.0,
) -> NDArray[np.float64]:  # fmt: skip
    """Discs (ellipses for stretch > 1) of known diameters with soft edges, as brightness 0 to 1."""
    from scipy.ndimage import gaussian_filter

    step = int(max(diameters_px) * stretch * apart) + 4
    rows = -(-len(diameters_px) // columns)
    random = np.random.default_rng(11)
    fine = 4  # edges by 4 by 4 samples a pixel
    made = np.zeros((rows * step + 40, columns * step + 40))
    yy, xx = (np.mgrid[: step * fine, : step * fine] + 0.5) / fine
    for k, d in enumerate(diameters_px):
        cx, cy = step / 2 + random.uniform(-0.5, 0.5, 2)
        turn = random.uniform(0, np.pi)
        u = (xx - cx) * np.cos(turn) + (yy - cy) * np.sin(turn)
        v = (yy - cy) * np.cos(turn) - (xx - cx) * np.sin(turn)
        inside = np.hypot(u / np.sqrt(stretch), v * np.sqrt(stretch)) <= d / 2
        cell = inside.reshape(step, fine, step, fine).mean(axis=(1, 3))
        y, x = 20 + k // columns * step, 20 + k % columns * step
        made[y : y + step, x : x + step] = cell
    made = gaussian_filter(made, blur) if blur else made
    made = 0.9 - 0.7 * made if dark else 0.15 + 0.7 * made
    return np.clip(made + random.normal(0, noise, made.shape), 0, 1)


def as_file(picture: NDArray[np.uint8], kind: str = "PNG") -> bytes:
    """A picture as the bytes of a file."""
    from PIL import Image

    out = BytesIO()
    Image.fromarray(picture).save(out, kind)
    return out.getvalue()
