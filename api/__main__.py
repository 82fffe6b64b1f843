"""``python -m api`` is the command line."""

from api.cli.main import main

main()
