"""`python -m evenclay.tools.cli` is the `evenclay` command."""

from evenclay.tools.cli import main

main()
