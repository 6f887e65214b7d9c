"""Where the hoses of a house run: the search for that, the drawing, the parts, the file's zones."""
