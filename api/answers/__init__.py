"""One answer in every form, the same at every door: JSON, report, lines, problem documents.

This room turns what a caller sent into the engine's answer and the answer into a form; it knows no
address, no case and no store.
"""
