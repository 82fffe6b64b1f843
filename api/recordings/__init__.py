"""Recordings of the pull at the doors: files into traces, what was read into a document and a plot.

The reading itself is ``engine.traces``; nothing here is kept.
"""
