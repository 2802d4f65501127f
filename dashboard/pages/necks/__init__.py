"""Page Necks: how straight necks come, what bow goes with, what the talk with a supplier needs."""
