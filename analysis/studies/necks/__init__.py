"""What suppliers send."""
