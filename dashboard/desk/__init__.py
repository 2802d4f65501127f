"""One counter: every page, paper and export asks here."""
