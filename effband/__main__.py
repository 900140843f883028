"""`python -m effband`, and the `effband` command."""

from effband.commands import main

if __name__ == "__main__":
    main()
