"""The process that serves the application: workers, signals, slow clients, their log."""
