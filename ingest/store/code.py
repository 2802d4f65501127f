"""What the code is that works answers out: what is kept by one code is not read by another."""

from functools import cache
from hashlib import blake2b
from importlib.metadata import version
from pathlib import Path


@cache
def code_of(*roots: Path, built_on: tuple[str, ...]) -> str:
    """A key for all Python files under some folders, and for the versions of the libraries they are built on."""
    told = blake2b(digest_size=16)
    for root in roots:
        for path in sorted(root.rglob("*.py")):
            told.update(path.relative_to(root).as_posix().encode() + b"\0" + path.read_bytes())
    return repr((told.hexdigest(), [(name, version(name)) for name in built_on]))
