"""One driver a module. Each is handed its pins by a board's pin map, and imports no hardware."""
