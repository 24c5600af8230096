"""Run the command line with ``python -m sowbench``."""

from sowbench.cli import main

if __name__ == "__main__":
    main(prog_name="sowbench")
