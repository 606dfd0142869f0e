"""Set up Sumpwise and start it: `python3 deploy demo`, `python3 deploy test` or `python3 deploy setup`.

This file alone stays readable for Python 3.6, so that an old interpreter gets a sentence, not a syntax error.
"""

import os
import shutil
import sys

MINIMUM_PYTHON = (3, 11)


def refuse_old_python():
    # type: () -> None
    """Say which Python is needed, and name a newer one that is installed already."""
    if sys.version_info >= MINIMUM_PYTHON:
        return
    newer = [name for name in ("python3.14", "python3.13", "python3.12", "python3.11") if shutil.which(name)]
    arguments = " ".join(sys.argv[1:]) or "demo"
    needed, found = (".".join(map(str, version[:2])) for version in (MINIMUM_PYTHON, sys.version_info))
    sys.stderr.write(f"Sumpwise needs Python {needed} or newer; this is {found} ({sys.executable}).\n")
    if newer:
        sys.stderr.write(f"A newer one is installed. Try: {newer[0]} deploy {arguments}\n")
    else:
        sys.stderr.write("Install a newer Python with your system's packages, then run the command again.\n")
    sys.exit(1)


if __name__ == "__main__":
    refuse_old_python()
    sys.path[0] = os.path.dirname(os.path.dirname(os.path.abspath(__file__)))  # noqa: PTH100, PTH120
    from deploy.commands import main

    sys.exit(main(sys.argv[1:]))
