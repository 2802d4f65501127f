"""Page Capability: how much room is left between the limits."""
