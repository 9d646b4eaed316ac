"""`python -m ordain`, and the command `ordain`: interrupted while still loading, it leaves as it does later on."""

import sys


def main() -> None:
    """Load the command line and run it."""
    try:
        from ordain.cli.main import main as run

        run()
    except KeyboardInterrupt:
        print("interrupted", file=sys.stderr)
        sys.exit(130)


if __name__ == "__main__":
    main()
