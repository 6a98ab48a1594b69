"""What the engine says, read once, and where the figures go."""

import json
import os
import subprocess
from collections import defaultdict

import pytest

FIGURES = []


def pytest_addoption(parser):
    parser.addoption("--flights", type=int, default=60, help="drawn flights of each of the four rockets")


def pytest_terminal_summary(terminalreporter):
    terminalreporter.section("figures")
    for line in FIGURES:
        terminalreporter.write_line(line)


def export(*arguments):
    """The exporter's rows by kind."""
    exporter = os.environ["SLOWPOINT_ORACLE_EXPORT"]
    text = subprocess.run([exporter, *arguments], check=True, capture_output=True, text=True).stdout
    rows = defaultdict(list)
    for line in text.splitlines():
        row = json.loads(line)
        rows[row.pop("kind")].append(row)
    return rows


@pytest.fixture(scope="session")
def tables():
    return export("tables")


@pytest.fixture(scope="session")
def engine(request):
    """Cards by name, and every drawn flight with the engine's answers."""
    rows = export("flights", str(request.config.getoption("--flights")))
    return {card["name"]: card for card in rows["rocket"]}, rows["flight"]


@pytest.fixture(scope="session")
def figures():
    """Lines to print at the end, whatever is captured."""
    return FIGURES
