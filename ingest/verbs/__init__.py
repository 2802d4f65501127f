"""What a person does to the store: load, again, mend, forget, watch."""
