"""Pages: their layout and their callbacks; a page of several parts is a folder."""
