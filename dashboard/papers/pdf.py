"""A paper as PDF, by a Chromium on this machine where there is one: `write_pdf(html_path, pdf_path)`."""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
from pathlib import Path

NAMES = ("chromium", "chromium-browser", "chrome", "chromium-headless-shell", "chrome-headless-shell")
PLACES = ("/Applications/Chromium.app/Contents/MacOS/Chromium", "/usr/lib/chromium/chromium", "/snap/bin/chromium")
OWN = "TRUERUN_CHROMIUM"  # an environment variable that names another one
ARGUMENTS = (
    "--headless",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--disable-dev-shm-usage",
    "--window-size=1280,1600",
    "--no-pdf-header-footer",
    "--virtual-time-budget=10000",
)
SECONDS = 180


class NoPdf(ValueError):
    """No PDF could be made; its text says why and what to do."""


def find_chromium() -> str | None:
    """The program that prints: the one TRUERUN_CHROMIUM names, else one found on this machine, else None."""
    named = os.environ.get(OWN)
    if named is not None:
        return shutil.which(named)
    return next((found for found in (shutil.which(name) for name in (*NAMES, *PLACES)) if found), None)


def write_pdf(html: Path, pdf: Path) -> None:
    """Print one self-contained paper. NoPdf where there is no Chromium, or it does not write one."""
    program = find_chromium()
    if program is None:
        raise NoPdf(
            f"no Chromium was found, so {html} was not made a PDF; open it in a browser and print it, or name a "
            f"Chromium in {OWN}"
        )
    root = (
        ["--no-sandbox"] if hasattr(os, "geteuid") and os.geteuid() == 0 else []
    )  # Chromium keeps no sandbox for root
    pdf.unlink(missing_ok=True)
    with tempfile.TemporaryDirectory(prefix="truerun-", ignore_cleanup_errors=True) as profile:
        command = [
            program,
            *ARGUMENTS,
            *root,
            f"--user-data-dir={profile}",
            f"--print-to-pdf={pdf.resolve()}",
            html.resolve().as_uri(),
        ]
        try:
            ran = subprocess.run(command, capture_output=True, text=True, timeout=SECONDS)
        except (OSError, subprocess.TimeoutExpired) as problem:
            raise NoPdf(f"{program} did not print {html}: {problem}; open it in a browser and print it") from None
    if not pdf.exists() or not pdf.stat().st_size:
        raise NoPdf(f"{program} printed nothing (exit {ran.returncode}); open {html} in a browser and print it")
