"""What is kept, and how it is read at one version."""
