"""Passwords: what is asked of one, and how it is kept.

Kept by argon2id with the settings of RFC 9106, section 4 (second choice: 64 MiB, three passes). What is asked: length,
as NIST SP 800-63B section 5.1.1.2 says, no rule of signs, and none that is soon guessed: held against 30,000 passwords
that others had, words, names, dates, rows of the keyboard (Wheeler 2016, USENIX Security 25, by its library).
"""

from threading import BoundedSemaphore

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError
from argon2.profiles import RFC_9106_LOW_MEMORY

LEAST, MOST = 12, 200  # characters
_HASHER = PasswordHasher.from_parameters(RFC_9106_LOW_MEMORY)
_AT_ONCE = BoundedSemaphore(2)  # 64 MiB each
_LOOKED_AT = 72  # characters from the front: the estimate takes no more
_SAFE = 3  # of 4: over 10^8 guesses, at 10,000 a second some hours


def wrong(password: str, *about: str) -> str:
    """Why a password is not taken, and how soon it would be guessed; '' where it is taken.

    about : words anybody would try: the name, the shop.
    """
    if len(password) < LEAST:
        return f"wanted at least {LEAST} characters; three or four words do well"
    if len(password) > MOST:
        return f"wanted at most {MOST} characters"
    from zxcvbn import zxcvbn  # its lists of words take a seventh of a second to read: for a new password only

    told = zxcvbn(password[:_LOOKED_AT], user_inputs=[*about, *(part for each in about for part in each.split())])
    if told["score"] < _SAFE:
        soon = told["crack_times_display"]["offline_slow_hashing_1e4_per_second"]
        return f"a machine that tries would have it in {soon}; three or four words that few would put together do well"
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
