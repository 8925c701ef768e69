"""``python -m jiggen``: the same program as ``jiggen``."""

from jiggen.cli import main

if __name__ == "__main__":
    raise SystemExit(main())
