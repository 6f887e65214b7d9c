"""The desktop face: the evenclay command and the developer tools."""
