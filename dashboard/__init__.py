"""What people see: commands, pages, papers and files, doors to one room."""
