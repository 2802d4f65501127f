"""One stream over time: ground, marks, labels."""
