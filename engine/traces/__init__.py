"""Reads a recording of the pull: from samples to findings with their uncertainty, or a refusal.

Pure functions of samples. This room knows windings and recorders; it has no belief about causes and
says nothing where the recording cannot tell.
"""
