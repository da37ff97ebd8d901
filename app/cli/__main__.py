"""``python -m app.cli``: the same as ``swellmark``."""

from app.cli.main import main

if __name__ == "__main__":
    main()
