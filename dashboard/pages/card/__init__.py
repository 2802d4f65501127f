"""Page Card: readings entered at a bench, one instrument a card; a document of its own that an old phone opens."""
