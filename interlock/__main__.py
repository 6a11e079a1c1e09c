"""``python -m interlock`` is the same program as ``interlock``."""

from interlock.cli.main import main

if __name__ == "__main__":
    main()
