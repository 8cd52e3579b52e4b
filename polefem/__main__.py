"""`python -m polefem`: the command line."""

from polefem.command_line import main

if __name__ == "__main__":
    raise SystemExit(main())
