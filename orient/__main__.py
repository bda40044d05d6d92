"""`python -m orient`: the command line where no `orient` command is on the path."""

from orient.cli import main

main()
