"""Season, trace, logs, logbook and method: what each shows, and every interaction that changes a number."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any


def test_the_logs_add_up_and_each_refusal_says_why(opened: Any, fleet_folder: Path) -> None:
    # a log without a clock starts at its file's own time, which is after the simulated days
    shown = opened(fleet_folder, "logs", as_of="2099-01-01")
    inbox = [path for path in (fleet_folder / "inbox").rglob("*") if path.is_file()]
    (summary,) = re.findall(r'class="mw-answer">([^<]+)<', shown.html)
    assert sum(int(each) for each in re.findall(r"\d+", summary)) == len(inbox)
    refused = int(re.findall(r"(\d+) files? refused", summary)[0])
    assert shown.html.count("<article") == refused


def test_only_what_a_morning_asks_for_is_marked_where_a_log_does_not_show_it(opened: Any, fleet_folder: Path) -> None:
    html = opened(fleet_folder, "logs").html
    assert not re.search(r'class="mw-lacks"[^>]*>○ lift off idle', html)
    assert re.search(r'class="mw-quiet"[^>]*>○ lift off idle', html)


def test_the_logs_of_one_boat_are_of_that_boat(opened: Any, fleet_folder: Path) -> None:
    shown = opened(fleet_folder, "logs")
    shown.app.selectbox(key="logs_of").set_value("dunlin")
    table = shown.again().html.split("mw-logs")[-1]
    assert "log=inbox%2Fdunlin%2F" in table
    assert "log=inbox%2Fcurlew%2F" not in table
