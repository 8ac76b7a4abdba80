"""``python -m circuitcheck``: the same as the command."""

from circuitcheck.cli.main import run

if __name__ == "__main__":
    run()
