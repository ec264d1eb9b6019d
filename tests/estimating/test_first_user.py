"""The command that makes the first person who can log in."""

import io

import pytest
from django.core.management import CommandError, call_command

from estimating.models import User

pytestmark = pytest.mark.django_db
PASSWORD = "seven tall ladders"


def test_it_makes_an_owner_who_can_log_in(client, monkeypatch, capsys):
    monkeypatch.setenv("OWNER_PASSWORD", PASSWORD)
    call_command("first_user", username="pat", email="pat@example.com", password_env="OWNER_PASSWORD")
    user = User.objects.get()
    assert (user.username, user.role, user.is_superuser) == ("pat", "owner", True)
    assert client.login(username="pat", password=PASSWORD)
    assert PASSWORD not in capsys.readouterr().out


def test_the_password_may_come_by_standard_input(monkeypatch):
    monkeypatch.setattr("sys.stdin", io.StringIO(PASSWORD + "\n"))
    call_command("first_user", username="sam", role="estimator")
    user = User.objects.get()
    assert user.check_password(PASSWORD) and not user.is_superuser


@pytest.mark.parametrize(
    ("password", "username", "words"),
    [("short", "pat", "too short"), ("password1234", "pat", "too common"), (PASSWORD, "p a t", "valid username")],
)
def test_a_weak_password_or_an_odd_name_is_refused_with_the_reason(monkeypatch, password, username, words):
    monkeypatch.setattr("sys.stdin", io.StringIO(password))
    with pytest.raises(CommandError, match=words):
        call_command("first_user", username=username)
    assert not User.objects.exists()


def test_a_name_that_is_taken_is_refused(make_user, monkeypatch):
    make_user("owner", "pat")
    monkeypatch.setattr("sys.stdin", io.StringIO(PASSWORD))
    with pytest.raises(CommandError, match="already exists"):
        call_command("first_user", username="pat")


def test_a_password_variable_that_is_not_set_is_named():
    with pytest.raises(CommandError, match="NO_SUCH_VARIABLE"):
        call_command("first_user", username="pat", password_env="NO_SUCH_VARIABLE")


@pytest.mark.parametrize("somebody", [True, False])
def test_check_tells_by_its_status_whether_anybody_can_log_in(somebody, make_user):
    if somebody:
        make_user("crew")
    with pytest.raises(SystemExit) as exit:
        call_command("first_user", check=True)
    assert bool(exit.value.code) is not somebody
