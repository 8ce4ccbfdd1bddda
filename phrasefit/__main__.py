"""``python -m phrasefit`` is the command line."""

from phrasefit.cli import main

if __name__ == "__main__":
    main()
