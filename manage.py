#!/usr/bin/env python
"""Django's command line for this project."""

import os
import secrets
import sys

ALONE = ("frame", "compare")  # read files and write papers: they sign nothing, so they need no secret of the office's


def main() -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "estimating.config.settings")
    if sys.argv[1:2] and sys.argv[1] in ALONE:
        os.environ.setdefault("SECRET_KEY", secrets.token_urlsafe(50))
    from django.core.management import execute_from_command_line

    execute_from_command_line(sys.argv)


if __name__ == "__main__":
    main()
