"""What moved, since when, and with what."""
