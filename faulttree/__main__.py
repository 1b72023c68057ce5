"""`python -m faulttree` is the same as the `faulttree` command."""

from faulttree.cli import main

if __name__ == "__main__":
    raise SystemExit(main())
