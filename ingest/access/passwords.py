"""Passwords: what is asked of one, and how it is kept.

Kept by argon2id with the settings of RFC 9106, section 4 (second choice: 64 MiB, three passes). What is asked: length,
as NIST SP 800-63B section 5.1.1.2 says, no rule of signs, and none that everybody tries first.
"""

from threading import BoundedSemaphore

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError
from argon2.profiles import RFC_9106_LOW_MEMORY

LEAST, MOST = 12, 200  # characters
_HASHER = PasswordHasher.from_parameters(RFC_9106_LOW_MEMORY)
_AT_ONCE = BoundedSemaphore(2)  # 64 MiB each
_COMMON = ("password", "passwort", "qwerty", "letmein", "welcome", "iloveyou", "changeme", "abc123", "admin", "truerun")
_ROWS = (
    "01234567890123456789",
    "abcdefghijklmnopqrstuvwxyz",
    "qwertyuiopasdfghjklzxcvbnm",
    "qwertzuiopasdfghjklyxcvbnm",
)


def wrong(password: str, *about: str) -> str:
    """Why a password is not taken, '' where it is. about : words anybody would try: the name, the shop."""
    if len(password) < LEAST:
        return f"wanted at least {LEAST} characters; three or four words do well"
    if len(password) > MOST:
        return f"wanted at most {MOST} characters"
    small = "".join(password.casefold().split())
    if len(set(small)) < 5:
        return "it says the same few letters over and over"
    if any(small in row * 2 or small[::-1] in row * 2 for row in _ROWS):
        return "it is a row of the keyboard or of the alphabet"
    rest = small
    for word in (*_COMMON, *("".join(each.casefold().split()) for each in about)):
        rest = rest.replace(word, "") if len(word) > 2 else rest
    if len(rest) < LEAST // 2:
        return "it is made of what anybody would try first"
    return ""


def hashed(password: str) -> bytes:
    """What is kept of a password."""
    with _AT_ONCE:
        return _HASHER.hash(password).encode()


def fits(secret: bytes | None, password: str) -> bool:
    """Is it the password? Of nobody (None) the answer takes as long, and is no."""
    with _AT_ONCE:
        try:
            return _HASHER.verify((secret or _NOBODYS).decode(), password[:MOST]) and secret is not None
        except (VerificationError, InvalidHashError, UnicodeDecodeError):
            return False


_NOBODYS = b"$argon2id$v=19$m=65536,t=3,p=4$c29tZXNhbHRvZm9ub2JvZHk$3rzFzYpUqhKPxhyRqnmPHVYPdl2oTQ9mVYpSJzDzN9E"
