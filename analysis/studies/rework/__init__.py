"""What comes back, and why."""
