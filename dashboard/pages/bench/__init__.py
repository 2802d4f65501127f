"""Page Bench: what a tech must hold, and how far they are."""
