"""The door for assistants: tools that a program which speaks with people may call.

Each tool answers what the other doors answer, cautions included; what is wrong with its arguments
is a problem document. This room keeps nothing and knows no store.
"""
