"""Make the first person who can log in: the owner of the office."""

import getpass
import os
import sys
from typing import Any

from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError, CommandParser

from estimating.models import Role, User


class Command(BaseCommand):
    help = "Make a person who can log in, by default the owner. Asks for name and password where they are not given."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--username", help="name to log in with")
        parser.add_argument("--email", default="")
        parser.add_argument("--role", choices=Role.values, default=Role.OWNER.value)
        parser.add_argument("--password-env", metavar="NAME", help="environment variable that holds the password")
        parser.add_argument("--check", action="store_true", help="only tell, by the exit status, whether there is one")

    def handle(
        self, *, username: str | None, email: str, role: str, password_env: str | None, check: bool, **_: Any
    ) -> None:
        if check:
            sys.exit(not User.objects.filter(is_active=True).exists())
        username = (username or self.ask("Name to log in with: ")).strip()
        user = User(username=username, email=email, role=role)
        user.is_staff = user.is_superuser = role == Role.OWNER
        password = self.password(password_env)
        try:
            validate_password(password, user)
            user.set_password(password)
            user.full_clean()
        except ValidationError as exc:
            raise CommandError("\n".join(exc.messages)) from None
        user.save()
        self.stdout.write(f"{username} can log in ({role}).")

    def password(self, env: str | None) -> str:
        if env:
            if not (password := os.environ.get(env)):
                raise CommandError(f"--password-env names {env}, which is not set")
            return password
        if not sys.stdin.isatty():
            return sys.stdin.readline().rstrip("\r\n")
        password = getpass.getpass("Password: ")
        if password != getpass.getpass("Once more: "):
            raise CommandError("The two passwords differ")
        return password

    def ask(self, question: str) -> str:
        if not sys.stdin.isatty():
            raise CommandError("Give --username, or start this at a terminal")
        return input(question)
