"""Start the hub on this board: the `main.py` at the top of the flash calls `main`."""

from boards.common import run
from boards.rp2_pico_w import pins


def main() -> None:
    """Run the hub for ever."""
    run(pins)


if __name__ == "__main__":
    main()
