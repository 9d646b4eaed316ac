"""`python -m ordain`."""

from ordain.cli.main import main

main()
