"""`python -m service` is the command `sumpwise`."""

import gc


def main() -> None:
    """Run the command line.

    What is imported stays, so nothing is collected meanwhile: looking for garbage took a quarter of a server's start.
    """
    gc.disable()
    from service.cli.app import app

    gc.freeze()
    gc.enable()
    app()


if __name__ == "__main__":
    main()
