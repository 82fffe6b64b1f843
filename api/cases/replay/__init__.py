"""What today's knowledge base says of closed cases, beside what was said when they were closed."""
