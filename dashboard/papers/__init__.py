"""Papers: self-contained HTML, and PDF where a Chromium is found."""
