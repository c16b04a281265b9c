"""Compiled kernels of the simulator; compiled once and then kept beside the sources.

The compiler's cache knows only the file a kernel stands in. Kernels here call those of other files,
so that a change in one would leave stale code in another: `_forget_stale` therefore throws all of
it away when any source has changed. It does nothing where the folder cannot be written.
"""

from __future__ import annotations

import hashlib
from pathlib import Path


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


_forget_stale(Path(__file__).parent)
