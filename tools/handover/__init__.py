"""What is handed over to programs of other makers, in open formats."""
