"""Who may come in over the network: people, what is signed in, tablets, and the trail of what was done."""
