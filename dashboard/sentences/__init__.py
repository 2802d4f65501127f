"""Findings in words, shared by page, paper and command line."""
