"""What a process of the simulator declares: the fields it reads and writes, and its sources.

Conventions: fields are those of `heapwright.engine.state`; a contract test walks all processes and
checks the declaration against what really changes. Processes never import each other.
"""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["Process"]


@dataclass(frozen=True, slots=True)
class Process:
    """The declaration of one process.

    name : in words; reads, writes : names of state fields; sources : author, year, work of the
    equations; note : what is left out or weak.
    """

    name: str
    reads: tuple[str, ...]
    writes: tuple[str, ...]
    sources: tuple[str, ...]
    note: str = ""
