"""Charts as SVG: what the plain dicts of dashboard.charts hold, drawn without a library in the browser."""
