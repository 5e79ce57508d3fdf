"""Season, trace, logs, logbook and method: what each shows, and every interaction that changes a number."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

from pipeline.catalogue import indicators, read_query
from pipeline.causes import CAUSES


def test_the_logs_add_up_and_each_refusal_says_why(opened: Any, fleet_folder: Path) -> None:
    # a log without a clock starts at its file's own time, which is after the simulated days
    shown = opened(fleet_folder, "logs", as_of="2099-01-01")
    inbox = [path for path in (fleet_folder / "inbox").rglob("*") if path.is_file()]
    (summary,) = re.findall(r'class="mw-answer">([^<]+)<', shown.html)
    assert sum(int(each) for each in re.findall(r"\d+", summary)) == len(inbox)
    refused = int(re.findall(r"(\d+) files? refused", summary)[0])
    assert shown.html.count("<article") == refused


def test_the_logs_of_one_boat_are_of_that_boat(opened: Any, fleet_folder: Path) -> None:
    shown = opened(fleet_folder, "logs")
    shown.app.selectbox(key="logs_of").set_value("dunlin")
    table = shown.again().html.split("mw-logs")[-1]
    assert "inbox/dunlin/" in table
    assert "inbox/curlew/" not in table


def test_the_method_of_every_indicator_can_be_read(opened: Any, fleet_folder: Path) -> None:
    for name, indicator in indicators().items():
        shown = opened(fleet_folder, "method", indicator=name)
        assert indicator.meaning in shown.text
        assert indicator.source in shown.text
        assert shown.app.code[0].value == read_query("indicators", name)


def test_the_method_lists_every_cause(opened: Any, fleet_folder: Path) -> None:
    text = opened(fleet_folder, "method").text
    assert [each.word for each in CAUSES.values() if each.title not in text or each.do not in text] == []


def test_the_method_tells_the_fleets_own_limits(opened: Any, own_folder: Path) -> None:
    register = own_folder / "fleet.toml"
    text = register.read_text(encoding="utf-8")
    register.write_text(text + "\n[limits.shift_reach_error]\nwatch = 0.7\n", encoding="utf-8")
    assert "watch 0.7, hold 2 %" in opened(own_folder, "method", indicator="shift_reach_error").text
