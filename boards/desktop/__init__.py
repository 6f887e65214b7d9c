"""The hub on a desktop: real clock and files, valves that only say what they would do."""
