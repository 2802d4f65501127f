"""Tables as files: every computed figure, unrounded."""
