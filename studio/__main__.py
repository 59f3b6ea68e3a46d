"""`python -m studio COMMAND`: manage.py for a studio that was installed without its tree."""

import os
import sys

from django.core.management import execute_from_command_line


def main() -> None:
    """Run the command that the command line names."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "studio.settings")
    execute_from_command_line(sys.argv)


if __name__ == "__main__":
    sys.argv[0] = "python -m studio"
    main()
