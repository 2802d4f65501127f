"""What happened to each instrument."""
