"""A key is printed once, and withdrawn by its first signs."""

from io import StringIO

import pytest
from django.core.management import CommandError, call_command
from django.utils import timezone

from equipment import api_keys
from equipment.models import ApiKey, User

pytestmark = pytest.mark.django_db


def said(*words: str) -> str:
    out = StringIO()
    call_command("make_key", *words, stdout=out)
    return out.getvalue()


def test_the_printed_key_is_its_users_until_it_is_withdrawn(manager_user: User) -> None:
    manager_user.email = "ada@elm.example"
    manager_user.save()
    key = said("ada@elm.example", "--name", "accounts", "--days", "30").splitlines()[0]
    row = ApiKey.objects.get()
    assert (row.name, (row.expires_at - row.made_at).days) == ("accounts", 30)
    assert api_keys.user_of(key, timezone.now()) == manager_user
    assert "opens nothing" in said("--withdraw", key[:6])
    assert api_keys.user_of(key, timezone.now()) is None
    with pytest.raises(CommandError, match="0 keys"):
        said("--withdraw", key[:6])


@pytest.mark.parametrize("words", [["nobody@elm.example"], [], ["ada@elm.example", "--days", "0"]])
def test_what_cannot_be_is_refused(words: list[str], manager_user: User) -> None:
    User.objects.update(email="ada@elm.example")
    with pytest.raises(CommandError):
        said(*words)
    assert not ApiKey.objects.exists()
