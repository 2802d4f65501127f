"""What only the weekly review asks."""
