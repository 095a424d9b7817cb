"""`python -m rollwright` is the `rollwright` command."""

from rollwright.cli import main

if __name__ == "__main__":
    main()
