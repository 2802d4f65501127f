"""The demo shop: a generator of believable logs, what was planted in them, and one week of logs for reading and for
tests.
"""
