"""Page Rework: which stage causes the work that comes back."""
