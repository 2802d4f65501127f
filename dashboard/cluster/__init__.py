"""Many shops' studies on many workers, by an engine that is there already."""
