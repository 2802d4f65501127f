"""Matters: what one cause moved, told once."""
