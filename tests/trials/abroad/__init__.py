"""Further shops that the program has never met: their sheets are written from the habits of clerks, without a look at
how the reader works, with seeds fixed before the first run."""
