"""What is handed over: pages that an owner reads, and open formats for other programs."""
