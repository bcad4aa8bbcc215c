"""`python -m pipeline` is `rillbook`."""

from pipeline.cli import main

main()
