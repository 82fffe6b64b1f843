"""``python -m api`` is the command line."""

from api.cli import main

main()
