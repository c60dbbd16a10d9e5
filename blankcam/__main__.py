"""``python -m blankcam``: the command where it is not on the search path."""

from blankcam.cli import run_cli

if __name__ == "__main__":  # not in a worker that a pool starts from here
    run_cli()
