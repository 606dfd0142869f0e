"""`python -m service` is the command `sumpwise`."""

from service.cli.app import main

main()
