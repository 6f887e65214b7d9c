"""The portable core of Evenclay: it decides, and knows no clock, pin, file or network."""
