"""Passwords are hashed in a moment here: how long that takes is argon2's matter, not ours."""

import argon2
import pytest

from ingest.access import passwords


@pytest.fixture(autouse=True, scope="package")
def quick():
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(passwords, "_HASHER", argon2.PasswordHasher(time_cost=1, memory_cost=64, parallelism=1))
        yield
