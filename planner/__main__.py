"""`python -m planner` does what `planner` does."""

from planner.cli import main

if __name__ == "__main__":
    main()
