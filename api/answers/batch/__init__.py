"""Many requests, one a line (NDJSON): one answer a line, in the same order, in flat memory."""
