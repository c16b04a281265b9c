"""Files that appear whole or not at all.

Conventions: what is written goes to a file beside and takes its place when it is complete; a writer
that is stopped or fails leaves neither a part nor a changed old file.
"""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from heapwright.errors import InputError

__all__ = ["whole_file", "write_whole"]


@contextmanager
def whole_file(path: Path) -> Iterator[Path]:
    """A place beside *path* to write to, which becomes *path* when the block ends well.

    Folders are made. Raises `InputError` when it cannot be written.
    """
    beside: Path | None = None
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.", suffix=".part")
        os.close(handle)
        beside = Path(name)
        yield beside
        beside.chmod(0o644)
        beside.replace(path)
    except OSError as error:
        raise InputError(
            f"this file cannot be written ({error.strerror or error})",
            field="out", value=str(path), way_out="Name a folder that may be written with --out",
        ) from None  # fmt: skip
    finally:
        if beside is not None:
            with suppress(OSError):
                beside.unlink(missing_ok=True)


def write_whole(path: Path, content: str | bytes) -> Path:
    """Write text (as UTF-8) or bytes to *path*; returns it. Raises as `whole_file`.

    >>> with tempfile.TemporaryDirectory() as folder:
    ...     write_whole(Path(folder) / "new" / "note.txt", "12 C").read_text()
    '12 C'
    """
    with whole_file(path) as beside:
        beside.write_bytes(content if isinstance(content, bytes) else content.encode("utf-8"))
    return path
