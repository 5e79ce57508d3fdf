"""The engine by sections: reached by address, told in sentences, every clicked mark leading to its own samples."""

from __future__ import annotations

import re
from datetime import datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from dashboard import data
from dashboard.charts import idling, responding, shifting
from pipeline import screen_data
from pipeline.catalogue import indicators
from pipeline.ingest import ingest
from pipeline.register import load_register
from pipeline.store import Store
from pipeline.trust import Withheld

ENGINE = "curlew/port"
AS_OF = datetime.fromisoformat("2026-06-15T05:00+00:00")

SECTIONS = [
    ("Shifting", "Reach error"),
    ("Idle", "Integral against temperature"),
    ("Fuel", "Fuel trim at idle"),
    ("Response", "Engagement dip"),
    ("Evidence", "What the newest logs hold"),
]


def _shown(opened: Any, folder: Path, section: str, **more: str) -> Any:
    return opened(folder, "engine", **{"boat": "curlew", "engine": "port", "section": section, **more})


def _click(shown: Any, key: str, selection: str, **fields: Any) -> Any:
    """What the browser sends when a mark is clicked."""
    shown.app.session_state[key] = {"selection": {selection: [fields]}}
    return shown.again()


@pytest.mark.parametrize(("section", "title"), SECTIONS)
def test_each_section_is_reached_by_its_address_and_told_in_a_sentence(
    opened: Any, fleet_folder: Path, section: str, title: str
) -> None:
    shown = _shown(opened, fleet_folder, section)
    assert title in shown.text
    assert shown.charts
    assert 'class="mw-summary"' in shown.html
    assert "nan" not in shown.text.lower()


def test_an_unknown_section_is_said_with_those_there_are(opened: Any, fleet_folder: Path) -> None:
    text = _shown(opened, fleet_folder, "Horsepower").text
    assert "There is no section 'Horsepower'. Choose one: Shifting, Idle, Fuel, Response, Evidence." in text


def test_the_section_that_is_chosen_is_drawn(opened: Any, fleet_folder: Path) -> None:
    shown = _shown(opened, fleet_folder, "Fuel")
    shown.app.button_group[0].set_value("Response")
    other = shown.again()
    assert "Stalls" in other.text
    assert "Fuel trim at idle" not in other.text


def test_shifting_lays_every_move_over_the_first_ones_and_states_both_counts(opened: Any, fleet_folder: Path) -> None:
    text = _shown(opened, fleet_folder, "Shifting", part="way").text
    for move in ("neutral to forward", "forward to neutral", "neutral to reverse", "reverse to neutral"):
        assert move in text
    assert "Newest 10 shifts: transit" in text
    assert "First 20 of the present comparison" in text or "First " in text


def test_positions_and_transits_stand_under_each_other_a_gear_each(opened: Any, fleet_folder: Path) -> None:
    shown = _shown(opened, fleet_folder, "Shifting", part="transit")
    settled, *transits = [[panel["title"]["text"] for panel in chart["vconcat"]] for chart in shown.charts]
    assert [title.partition(":")[0] for title in settled[1:]] == ["reverse", "neutral", "forward"]
    assert transits == [["into reverse, s", "into neutral, s", "into forward, s"]] * 2
    assert "Offset" in shown.text
    assert "Span" in shown.text


PICTURES = {"way": 4, "newest": 0, "together": 1, "transit": 2}


@pytest.mark.parametrize("part", PICTURES)
def test_what_is_folded_is_told_in_a_sentence_and_drawn_when_it_is_opened(
    opened: Any, fleet_folder: Path, part: str
) -> None:
    shown = _shown(opened, fleet_folder, "Shifting")
    assert len(shown.charts) == 1
    said = shown.html.count('class="mw-summary"')
    assert said == 4
    shown.app.session_state[f"fold:curlew/port:{part}"] = True
    opened_by_hand = shown.again()
    by_address = _shown(opened, fleet_folder, "Shifting", part=part)
    assert len(opened_by_hand.charts) == len(by_address.charts) == 1 + PICTURES[part]


def test_the_picture_of_what_presses_most_stands_open(
    opened: Any, fleet_folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(data, "pressing", lambda *_: "shift_transit_time")
    shown = _shown(opened, fleet_folder, "Shifting")
    assert len(shown.charts) == 1 + PICTURES["transit"]
    # but the address goes before it
    assert len(_shown(opened, fleet_folder, "Shifting", part="together").charts) == 1 + PICTURES["together"]


@pytest.mark.parametrize(
    ("section", "module", "what"),
    [
        ("Shifting", shifting, "shifts"),
        ("Idle", idling, "windows"),
        ("Fuel", idling, "windows"),
        ("Response", responding, "readings"),
    ],
)
def test_a_picture_that_draws_fewer_marks_than_there_are_says_so(
    opened: Any, fleet_folder: Path, monkeypatch: pytest.MonkeyPatch, section: str, module: Any, what: str
) -> None:
    assert "are drawn" not in _shown(opened, fleet_folder, section).text
    monkeypatch.setattr(module, "MOST_DRAWN", 4)
    told = re.search(rf"(\d+) of (\d+) {what} are drawn: the newest", _shown(opened, fleet_folder, section).text)
    assert told is not None
    assert int(told[1]) < int(told[2])


def test_a_table_change_is_marked_as_a_proposal_that_a_person_decides(opened: Any, fleet_folder: Path) -> None:
    text = _shown(opened, fleet_folder, "Idle").text
    assert "a proposal" in text
    assert "nothing is changed here, a person decides" in text
    assert "neutral row" in text
    assert "First runs against last runs" in text


def test_the_evidence_says_what_the_newest_log_lacks_and_which_channels(opened: Any, fleet_folder: Path) -> None:
    text = opened(fleet_folder, "engine", boat="dunlin", section="Evidence").text
    assert "The newest log (" in text
    assert "Channels held:" in text
    assert "Lacking:" in text


def _first(folder: Path, what: str) -> dict[str, Any]:
    store = Store(folder)
    if what == "runs":
        names = ("engagement_dip",)
        rows = screen_data.engine_readings(store.reader(), ENGINE, names, AS_OF, ZoneInfo("UTC"), Withheld())
    else:
        fetch = {"shifts": screen_data.shifts, "windows": screen_data.idle_windows}[what]
        rows = fetch(store.reader(), ENGINE, AS_OF, ZoneInfo("UTC"), Withheld())
        known = {"shifts": "reach_error_pct", "windows": "integral_pct"}[what]
        rows = rows[rows[known].notna() & ((what == "shifts") | rows.get("gear", rows["at_s"]).eq("neutral"))]
    return dict(rows.to_dict("records")[0])


@pytest.mark.parametrize(
    ("section", "key", "selection", "what", "said"),
    [
        ("Shifting", "reach:curlew/port", "shift", "shifts", "reach error"),
        ("Idle", "integral:neutral:curlew/port", "window", "windows", "idle in neutral"),
        ("Response", "engagement_dip:curlew/port", "run", "runs", "run of"),
    ],
)
def test_a_clicked_mark_leads_to_its_own_samples_and_to_no_others(
    opened: Any, fleet_folder: Path, section: str, key: str, selection: str, what: str, said: str
) -> None:
    shown = _shown(opened, fleet_folder, section)
    before = [label for label, page, _ in shown.links if page == "trace"]
    row = _first(fleet_folder, what)
    clicked = _click(shown, key, selection, file=row["file"], at_s=row["at_s"])
    links = [each for each in clicked.links if each[1] == "trace"]
    (label, _, link) = next(each for each in links if links.count(each) > before.count(each[0]))
    assert said in label
    assert link["log"] == row["file"]
    assert float(link["from"]) < row["at_s"] < float(link["from"]) + float(link["seconds"])
    # the same click kept while another engine is shown must not open that engine's samples
    other = _click(clicked, key, selection, file="inbox/of/another.csv", at_s=1.0)
    assert "Click a mark to get to its samples." in other.text


def test_a_mark_clicked_on_one_engine_opens_nothing_on_its_sibling(opened: Any, fleet_folder: Path) -> None:
    row = _first(fleet_folder, "shifts")
    shown = _click(_shown(opened, fleet_folder, "Shifting"), "reach:curlew/port", "shift", **_named(row))
    sibling = opened(fleet_folder, "engine", boat="curlew", engine="starboard", section="Shifting")
    sibling.app.session_state["reach:curlew/port"] = shown.app.session_state["reach:curlew/port"]
    assert "Click a mark to get to its samples." in sibling.again().text


def _named(row: dict[str, Any]) -> dict[str, Any]:
    return {"file": row["file"], "at_s": row["at_s"]}


def test_the_newest_shifts_can_be_reached_without_a_pointer(opened: Any, fleet_folder: Path) -> None:
    shown = _shown(opened, fleet_folder, "Shifting", part="newest")
    links = [each for label, page, each in shown.links if page == "trace" and "reach error" in label]
    assert len(links) >= 10
    assert all({"log", "from", "seconds"} <= set(each) for each in links)


@pytest.fixture(scope="module")
def bare_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """One engine whose only log holds nothing but speed."""
    folder = tmp_path_factory.mktemp("bare")
    (folder / "inbox" / "petrel").mkdir(parents=True)
    (folder / "fleet.toml").write_text(
        '[fleet]\nname = "One"\ntimezone = "Europe/Dublin"\n[[boat]]\nid = "petrel"\nname = "Petrel"\n'
        '[[boat.engine]]\nid = "main"\n',
        encoding="utf-8",
    )
    rows = [f"{place / 10:.1f},{620 + place % 7}" for place in range(1200)]
    log = folder / "inbox" / "petrel" / "2026-06-14_0700.csv"
    log.write_text("\n".join(["time,rpm", *rows]), encoding="utf-8")
    ingest(load_register(folder, frozenset(indicators())))
    return folder


@pytest.mark.parametrize(
    ("section", "said"),
    [
        ("Shifting", "No log of this engine holds shift position nor shift target."),
        ("Idle", "No log of this engine holds idle integral nor coolant temp or oil temp."),
        ("Fuel", "No log of this engine holds fuel trim nor coolant temp or oil temp."),
        ("Response", "No log of this engine holds rpm target nor gear or shift target."),
        ("Evidence", "Shift reach error: needs shift position, shift target"),
    ],
)
def test_a_section_without_its_channels_says_which_are_lacking(
    opened: Any, bare_folder: Path, section: str, said: str
) -> None:
    assert said in opened(bare_folder, "engine", boat="petrel", section=section).text


def test_a_log_of_one_channel_has_one_panel_and_a_boat_of_it_still_opens(opened: Any, bare_folder: Path) -> None:
    shown = opened(bare_folder, "trace", boat="petrel")
    (chart,) = [chart for chart in shown.charts if "vconcat" in chart]
    assert [panel["title"]["text"] for panel in chart["vconcat"]][-1] == "speed, rpm"
    assert "Petrel" in opened(bare_folder, "boat", boat="petrel").text
