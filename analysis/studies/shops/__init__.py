"""What only many shops together can tell."""
