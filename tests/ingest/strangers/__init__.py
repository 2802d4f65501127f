"""Shops that this program has never met: their sheets, what is true of them, what a person would answer about them."""
