"""A sheet nobody has met: survey, guesses, starting values, first shop files."""
