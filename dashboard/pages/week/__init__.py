"""Page Week: what moved, who acts by when, and whether it was reviewed."""
