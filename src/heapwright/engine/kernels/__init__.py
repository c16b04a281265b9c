"""Compiled kernels of the simulator; compiled once and then kept beside the sources.

The compiler's cache knows only the file a kernel stands in. Kernels here call those of other files,
so that a change in one would leave stale code in another: `_forget_stale` therefore throws all of
it away when any source has changed. It does nothing where the folder cannot be written.
"""

from __future__ import annotations

import hashlib
import os
from pathlib import Path

__all__ = ["is_compiled"]

_FOLDER = Path(__file__).parent


def _forget_stale(folder: Path) -> bool:
    """Delete compiled kernels made from other sources than those in *folder*; True if it did."""
    sources = hashlib.sha256()
    for path in sorted(folder.glob("*.py")):
        sources.update(path.name.encode() + b"\0" + path.read_bytes())
    stamp = folder / "__pycache__" / "kernels.stamp"
    try:
        if stamp.exists() and stamp.read_text() == sources.hexdigest():
            return False
        for pattern in ("*.nbi", "*.nbc"):
            for compiled in stamp.parent.glob(pattern):
                compiled.unlink(missing_ok=True)
        stamp.parent.mkdir(exist_ok=True)
        stamp.write_text(sources.hexdigest())
    except OSError:
        return False
    return True


def is_compiled(folder: Path = _FOLDER) -> bool:
    """Whether compiled kernels are kept beside the sources; also True where that cannot be seen."""
    kept = folder / "__pycache__"
    elsewhere = "NUMBA_CACHE_DIR" in os.environ or not os.access(folder, os.W_OK)
    return elsewhere or any(kept.glob("passes.march-*.nbc"))


_forget_stale(_FOLDER)
