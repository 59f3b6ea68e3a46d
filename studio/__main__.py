"""`python -m studio COMMAND`: manage.py for a studio that was installed without its tree."""

import os
import sys

#: Said before the rest of the studio is loaded, which takes a second or more.
FIRST_WORDS = {
    "demo": "Starting the demonstration: loading the studio.",
    "serve": "Starting to serve: loading the studio.",
}


def main() -> None:
    """Run the command that the command line names."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "studio.settings")
    command, *options = sys.argv[1:] or ["help"]
    if command in FIRST_WORDS and not {"-h", "--help"} & set(options):
        sys.stdout.write(FIRST_WORDS[command] + "\n")
        sys.stdout.flush()
    from django.core.management import execute_from_command_line  # noqa: PLC0415 - see above

    execute_from_command_line(sys.argv)


if __name__ == "__main__":
    sys.argv[0] = "python -m studio"
    main()
