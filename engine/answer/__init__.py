"""The answer: what was concluded, in numbers and in words. Nothing is decided here."""
