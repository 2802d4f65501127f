"""What somebody holds, and is the comparison fair."""
