"""How the pages are served to other devices: under which names, whether the way is encrypted."""

from __future__ import annotations

import ipaddress
import socket
from dataclasses import dataclass, field
from pathlib import Path


@dataclass(frozen=True)
class Network:
    """Serving to other devices; without one of these the pages are for this machine alone and nobody signs in."""

    names: frozenset[str] = field(default_factory=frozenset)  # by which a browser may call this machine, small letters
    secure: bool = False  # TLS, here or at the proxy in front
    certificate: tuple[Path, Path] | None = None  # and its key, where TLS is spoken here
    proxy: str = ""  # address of the proxy whose word on who asks is taken; '' where there is none

    @property
    def listens_on(self) -> str:
        """This machine only where a proxy stands on it, else all its addresses."""
        return "127.0.0.1" if self.proxy in ("127.0.0.1", "localhost") else "0.0.0.0"

    def answers_to(self, name: str) -> bool:
        """May a browser call this machine so? An address in figures always: only names can be pointed elsewhere."""
        return name in self.names or is_address(name)

    def told(self, port: int) -> list[str]:
        """What to say at the start: where other devices find the pages, and what is not safe about it."""
        if self.proxy:
            return [f"Asked through the proxy at {self.proxy} only, which speaks TLS and says who asks"]
        scheme = "https" if self.secure else "http"
        found = [f"On another device: {scheme}://{one}:{port}/" for one in sorted({*addresses(), socket.gethostname()})]
        if not self.secure:
            found.append(
                "Not encrypted: whoever is on this network can read along, passwords too; the README says what helps"
            )
        return found


def is_address(name: str) -> bool:
    """Is it an address in figures, no name?"""
    try:
        ipaddress.ip_address(name)
    except ValueError:
        return False
    return True


def addresses() -> list[str]:
    """The address by which this machine reaches others; none where it reaches nobody. Nothing is sent."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # RFC 5737: an address of nobody
        except OSError:
            return []
        return [str(probe.getsockname()[0])]


def names_of_this_machine(*more: str) -> frozenset[str]:
    """The names by which this machine is known, as far as it knows them itself, and what a person adds."""
    host = socket.gethostname().lower()
    return frozenset({"localhost", host, f"{host.split('.')[0]}.local", *(name.strip().lower() for name in more)})
