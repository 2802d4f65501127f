"""What a method says when data cannot be used: what was wanted, what came, what to do."""


class UnusableData(ValueError):
    """Data that cannot be charted or judged; the text tells a person what was wanted, what came and what to do."""


class NotWorkedOut(UnusableData):
    """A study that ended in an error nobody expected: the one line that stands in its place."""
