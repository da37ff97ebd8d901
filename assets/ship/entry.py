"""Where the bundle starts; in a checkout the command ``swellmark`` does the same."""

import multiprocessing

from app.cli import main

if __name__ == "__main__":
    multiprocessing.freeze_support()  # a process that the bundle starts for itself is not the program again
    main()
