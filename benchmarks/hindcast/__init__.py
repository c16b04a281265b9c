"""Published heaps simulated with one set of parameters, and what came of it.

Run: ``python -m benchmarks.hindcast`` (``make hindcast``). The cases stand in ``cases/*.toml`` with
the source of every input; they were settled before the first run.
"""
