"""What a table, a unit, a time and a question are: the words of all other folders."""
