"""What a person is told when something cannot be done: what was found, what is wanted, what to do, in one line."""


class Problem(ValueError):
    """The base of everything that a person can put right: its text is shown as it stands; other errors are faults."""
