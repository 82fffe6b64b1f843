"""What keeps the knowledge honest and readable: pages, matrix, groups, starters, worked cases."""
