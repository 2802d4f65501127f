"""From the logs as people typed them to a store of versions."""
