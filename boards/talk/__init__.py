"""What a hub and its owner tell each other: plain words, a console, a light and a button."""
