#!/usr/bin/env python3
"""Run a command of the studio: `manage.py help` lists them."""

from studio.__main__ import main

if __name__ == "__main__":
    main()
