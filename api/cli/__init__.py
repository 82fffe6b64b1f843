"""The command line, one module a command. A command imports what it needs when it runs."""
