"""Files that are not regular: any encoding, quotes, title lines, short and long rows, several tables below one another."""

from ingest.files import Score, Tables
from ingest.questions import FileProblem


def read_any(data: bytes, name: str, score: Score) -> Tables:
    raise FileProblem(f"{name}: not regular")
