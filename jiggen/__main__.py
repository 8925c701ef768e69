"""The program `jiggen`, and ``python -m jiggen``."""

import sys


def main() -> int:
    """Run jiggen on the command line's words; returns the exit code."""
    try:
        from jiggen.cli import STOPPED
        from jiggen.cli import main as run
    except KeyboardInterrupt:  # before there is anything that says so
        sys.stderr.write("stopped: nothing was written\n")
        return 130
    try:
        return run()
    except KeyboardInterrupt:  # after all was said
        return STOPPED


if __name__ == "__main__":
    raise SystemExit(main())
