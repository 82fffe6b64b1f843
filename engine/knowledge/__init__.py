"""Load kb/ and check it: text, shape, cross-references."""
