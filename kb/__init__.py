"""What the trade knows, as data: read by engine.knowledge, edited by people."""
