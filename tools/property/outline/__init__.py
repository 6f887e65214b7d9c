"""The outline of a house: its table in the property file, its walls, and the hoses' line."""
