"""The command line. A module is loaded when one of its commands is asked for."""
