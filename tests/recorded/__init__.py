"""Answers recorded at one commit and compared at another, so that the code may be cut boldly."""
