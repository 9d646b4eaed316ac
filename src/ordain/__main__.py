"""`python -m ordain`, and the command `ordain`: interrupted while still loading, it leaves as it does later on."""

import sys

try:
    from ordain.cli.main import main
except KeyboardInterrupt:
    print("interrupted", file=sys.stderr)
    sys.exit(130)

if __name__ == "__main__":
    main()
