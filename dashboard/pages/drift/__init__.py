"""Page Drift: what moved, since when, and with what."""
