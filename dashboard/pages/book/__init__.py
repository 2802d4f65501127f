"""Page Book: what moved and was decided, who acts by when, what is done, checked and closed."""
