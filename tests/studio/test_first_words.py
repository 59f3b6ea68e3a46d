"""What takes some seconds to start says so before anything is loaded, let alone looked up."""

import pytest

from studio.__main__ import FIRST_WORDS
from tests.scenarios.commands import manage

ELSEWHERE = "nowhere://studio"


@pytest.mark.parametrize("command", FIRST_WORDS)
def test_it_speaks_before_the_settings_are_read(tmp_path, command):
    ended = manage(tmp_path, command, DATABASE_URL=ELSEWHERE)
    assert ended.returncode != 0
    assert "DATABASE_URL" in ended.stderr
    assert ended.stdout == FIRST_WORDS[command] + "\n"


def test_help_and_other_commands_begin_with_their_own_words(tmp_path):
    assert manage(tmp_path, "demo", "--help").stdout.startswith("usage:")
    assert manage(tmp_path, "migrate", DATABASE_URL=ELSEWHERE).stdout == ""
