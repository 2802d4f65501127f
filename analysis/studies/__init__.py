"""The shop's questions, a folder a question."""
