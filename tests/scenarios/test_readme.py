"""The front door: what README.md tells people to type works as it stands there."""

import json
import os
import re
import signal
import socket
import subprocess
import sys
import urllib.request

import pytest

from tests.scenarios.commands import ROOT, manage
from tests.waiting import eventually

README = (ROOT / "README.md").read_text(encoding="utf-8")
PASSWORD = "tallow and brine 9"


def commands_under(heading):
    section = README.split(f"\n## {heading}\n")[1].split("\n## ")[0]
    return re.findall(r"^ {4}(\S.*)$", section, re.MULTILINE)


def curl_block():
    return re.search(r"^```sh\n(.*?)^```$", README, re.MULTILINE | re.DOTALL).group(1)


def free_port():
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


def answers(address):
    try:
        with urllib.request.urlopen(address, timeout=2) as answer:
            return answer.status == 200
    except OSError:
        return False


@pytest.fixture
def served(empty_studio):
    """An empty studio that is served, and a token of its owner."""
    var = empty_studio
    secret = var / "secret"
    secret.write_text(PASSWORD + "\n", encoding="utf-8")
    assert manage(var, "create_owner", "you", "--password-from", str(secret)).returncode == 0
    token = manage(var, "token", "you").stdout.strip()
    address = f"http://127.0.0.1:{(port := free_port())}"
    environment = {**os.environ, "STUDIO_VAR": str(var)}
    environment.pop("DJANGO_SETTINGS_MODULE", None)
    server = subprocess.Popen(
        [sys.executable, str(ROOT / "manage.py"), "serve", "--port", str(port), "--no-beat"],
        env=environment,
        stdout=subprocess.DEVNULL,
    )
    try:
        eventually(lambda: answers(address + "/"), what="the served first page")
        yield address, token, var
    finally:
        server.send_signal(signal.SIGINT)
        server.wait(60)


def test_the_curl_tour_does_the_whole_job(served):
    address, token, var = served
    tour = subprocess.run(
        ["bash", "-e", "-o", "pipefail", "-c", curl_block()],
        env={**os.environ, "STUDIO": address, "TOKEN": token},
        capture_output=True,
        text=True,
        timeout=300,
        check=False,
    )
    assert tour.returncode == 0, tour.stdout[-2000:] + tour.stderr
    told = [json.loads(line) for line in tour.stdout.splitlines() if line.strip()]
    cost = next(answer for answer in told if answer.get("by_kind"))
    assert cost["by_kind"]["labor"] == {"amount": "31.6667", "currency": "USD"}  # 95 min at 20.00
    assert told[-3]["price"]["amount"] == "7.80"
    assert [alert["material"] for alert in told[-1]["results"]] == ["olive"]
    assert manage(var, "prove").returncode == 0


@pytest.mark.parametrize("heading", ["Run it", "Test it"])
def test_each_section_starts_with_one_whole_command(heading):
    line = commands_under(heading)[0]
    assert line.startswith("python3 -m venv .venv && .venv/bin/pip install")


def test_every_variable_that_is_read_is_told():
    read = set()
    for name in ("settings.py", "web/api/rest_settings.py"):
        text = (ROOT / "studio" / name).read_text(encoding="utf-8")
        read |= set(re.findall(r'env\.\w+\(\s*"([A-Z_]+)"', text))
    told = set(re.findall(r"`([A-Z][A-Z_]+)", README))
    assert read and read <= told, read - told


def test_every_command_that_is_told_exists(tmp_path):
    told = set(re.findall(r"manage\.py ([a-z_]+)", README))
    listed = manage(tmp_path, "help", "--commands")
    assert told <= set(listed.stdout.split()), told - set(listed.stdout.split())
