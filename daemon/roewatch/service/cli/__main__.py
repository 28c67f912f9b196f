"""`python -m roewatch.service.cli` is `roewatch`."""

from roewatch.service.cli import main

main()
