"""Statistics that know no shop: from arrays to named results, each with its source."""
