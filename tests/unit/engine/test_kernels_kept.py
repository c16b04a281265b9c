"""Compiled kernels are kept, and thrown away as soon as any source has changed."""

from __future__ import annotations

from pathlib import Path

import pytest

from heapwright.engine.kernels import _forget_stale, is_compiled


def test_compiled_kernels_go_when_any_source_changes(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("NUMBA_CACHE_DIR", raising=False)
    (tmp_path / "passes.py").write_text("a = 1\n")
    (tmp_path / "gas.py").write_text("b = 1\n")
    assert _forget_stale(tmp_path)
    assert not is_compiled(tmp_path)
    compiled = tmp_path / "__pycache__" / "passes.march-388.py311.1.nbc"
    compiled.write_bytes(b"code")
    assert not _forget_stale(tmp_path)
    assert is_compiled(tmp_path)
    (tmp_path / "gas.py").write_text("b = 2\n")
    assert _forget_stale(tmp_path)
    assert not compiled.exists()


def test_a_cache_elsewhere_counts_as_kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("NUMBA_CACHE_DIR", str(tmp_path))
    assert is_compiled(tmp_path)
