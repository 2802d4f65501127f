"""What a person types at a terminal."""
