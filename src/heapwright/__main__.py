"""``python -m heapwright`` is the command ``heapwright``."""

from heapwright.cli.main import run

if __name__ == "__main__":
    run()
