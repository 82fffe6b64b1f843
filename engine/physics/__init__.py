"""What a circuit with one thing wrong does: solved, and every check predicted from it.

This room knows circuits, machines and checks; it has seen no finding and holds no belief.
"""
