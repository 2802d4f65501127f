"""Page Logs: what was read, what was set aside, what waits for an answer."""
