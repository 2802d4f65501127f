"""One file to rows: pure, reads no clock and no disk."""
