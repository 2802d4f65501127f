"""How much is left between the limits."""
