"""Errands with pictures: save one, save all, drop one anywhere, open a file, use the command."""

import io
import os
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor

import pytest
from PIL import Image, PngImagePlugin
from playwright.sync_api import expect

from app import ids, labels, url_state, words
from app.refusals import refusal
from model import scenario_url
from model.errors import InputError
from model.scenario import Scenario, default, from_data, to_data
from tests.browser.chromium import launch_options
from tests.browser.screens import HostPage
from tests.browser.screens_pictures import KEYWORD, Pictures, chunks, link_in, scenario_file
from tests.browser.site import REPOSITORY

SIZE = (3200, 1800)
WHITE = (255, 255, 255)
TEAL, AMBER = (0, 105, 92), (154, 91, 0)  # of app.theme.LIGHT, with and without the card
NAMES = [f"crestline-{chart}.png" for chart in ids.CHARTS]


def near(colour, wanted) -> bool:
    """Tell whether two colours look the same."""
    return all(abs(one - other) < 12 for one, other in zip(colour, wanted, strict=True))


def colours(image: Image.Image, box) -> set:
    """Return the colours in a part of a picture, seen at every other pixel."""
    part = image.crop(tuple(round(edge) for edge in box)).convert("RGB")
    return {colour for _, colour in part.resize(
        (part.width // 2, part.height // 2), Image.Resampling.NEAREST
    ).getcolors(1 << 24)}  # fmt: skip


def with_long_names() -> Scenario:
    """Ten activities and eight roles with unbroken names as long as they may be, with markup."""
    data = to_data(default())
    activities = [
        data["activities"][3] | {"name": f"<b>a{i}</b>&amp;".ljust(80, "W")} for i in range(10)
    ]
    habit = {each["name"]: 10.0 for each in activities}
    roles = [
        data["roles"][0]
        | {"name": f"r{i} ".ljust(80, "W"), "weight_pct": 12.5, "activity_pct": habit}
        for i in range(8)
    ]
    name = "Ship".ljust(80, "W")
    return from_data(data | {"name": name, "activities": activities, "roles": roles})


def overlap(one, other) -> bool:
    """Tell whether two boxes have a part in common."""
    return (
        one["x"] < other["x"] + other["width"]
        and other["x"] < one["x"] + one["width"]
        and one["y"] < other["y"] + other["height"]
        and other["y"] < one["y"] + one["height"]
    )


def expect_nothing_overlaps(layouts) -> None:
    """Every text of every picture stands free of the others, inside the sheet, or its chart."""
    assert set(layouts) == set(ids.CHARTS)
    for layout in layouts.values():
        boxes, chart = layout["boxes"], layout["chart"]
        assert chart["height"] >= 600  # of 1800: the chart is the largest part
        for index, box in enumerate(boxes):
            in_chart = box["kind"] == "chart"
            left, top, right, bottom = (
                (chart["x"], chart["y"], chart["x"] + chart["width"], chart["y"] + chart["height"])
                if in_chart
                else (60, 60, SIZE[0] - 60, SIZE[1] - 60)
            )
            assert left <= box["x"], box
            assert box["x"] + box["width"] <= right, box
            assert top <= box["y"], box
            assert box["y"] + box["height"] <= bottom, box
            assert in_chart or not overlap(box, chart), box
            for other in boxes[:index]:
                assert not overlap(box, other), (box, other)


@pytest.fixture
def host_page(page, server):
    """The Host page in the first visitor's window."""
    return HostPage(page, server.url)


def test_picture_of_a_chart_is_a_white_sheet_with_everything_on_it(new_context, server):
    """A chart's button saves a PNG of 3200 x 1800, white even in the dark look, with its link."""
    page = new_context(color_scheme="dark").new_page()
    HostPage(page, server.url).open("?n=140&cores=48&v=1")
    pictures = Pictures(page)
    name, png = pictures.save(f"Picture: {labels.TITLES['headroom']}")
    assert name == "crestline-headroom.png"

    image = Image.open(io.BytesIO(png))
    image.load()
    assert image.size == SIZE
    # Derived: the address of the page, which holds what differs from the example.
    assert image.text["Crestline link"] == "n=140&cores=48&v=1"
    assert link_in(png) == "n=140&cores=48&v=1"
    kinds = [kind for kind, _ in chunks(png)]
    assert kinds.index(b"iTXt") < kinds.index(b"IDAT")

    margin = 60
    for edge in ((0, 0, 3200, margin), (0, 1800 - margin, 3200, 1800), (0, 0, margin, 1800),
                 (3200 - margin, 0, 3200, 1800)):  # fmt: skip
        assert colours(image, edge) == {WHITE}
    layout = pictures.layouts()["headroom"]
    assert layout["sheet"] == {"width": 3200, "height": 1800}
    told = {}
    for box in layout["boxes"]:
        told.setdefault(box["kind"], []).append(box["text"])
        left, top = box["x"], box["y"]
        inked = colours(image, (left, top, left + box["width"], top + box["height"]))
        assert min(sum(colour) for colour in inked) < 400, f"no ink for {box}"
    assert told["title"] == [labels.TITLES["headroom"]]
    assert told["takeaway"] == [page.locator("#takeaway-headroom").inner_text()]
    assert told["caution"] == [words.CAUTION]
    assert told["name"] == [default().name]
    assert told["link"] == [f"{server.url}/?n=140&cores=48&v=1"]
    assert told["date"][0].startswith("Crestline, ")
    assert "48 cores" in " ".join(told["summary"])
    assert {"Headroom [% of CPU]", "Sessions on the host"} <= set(told["chart"])
    place = layout["chart"]
    drawn = colours(
        image,
        (place["x"], place["y"], place["x"] + place["width"], place["y"] + place["height"]),
    )
    for wanted in (TEAL, AMBER):
        assert any(near(colour, wanted) for colour in drawn)


def test_all_pictures_come_in_one_zip_and_nothing_overlaps(host_page):
    """One button saves four pictures; long names are wrapped or cut, and no text meets another."""
    pin = scenario_url.to_query(default().model_copy(update={"sessions": 60}))
    query = url_state.to_address(with_long_names(), pin)
    host_page.open(f"?{query}")
    pictures = Pictures(host_page.page)
    files = pictures.save_all()
    assert list(files) == NAMES
    for png in files.values():
        assert Image.open(io.BytesIO(png)).size == SIZE
        assert link_in(png) == query
    layouts = pictures.layouts()
    expect_nothing_overlaps(layouts)
    texts = [box["text"] for box in layouts["desktop"]["boxes"]]
    assert any("the link is inside" in text for text in texts)
    assert any(text.startswith("<b>a9</b>&amp;W") and text.endswith("\u2026") for text in texts)


def test_labels_of_a_chart_keep_apart(host_page):
    """Rated loads close together, and targets close to full use, are labelled side by side."""
    host_page.open("?cards=0&n=3&cores=2&cpu=99&wait=50&frames=100&v=1")
    pictures = Pictures(host_page.page)
    assert set(pictures.save_all()) == set(NAMES)
    expect_nothing_overlaps(pictures.layouts())


def test_dropped_picture_opens_its_scenario_on_any_page(host_page):
    """A picture dropped on another page opens exactly the scenario, and the pin, it was made of."""
    scenario = from_data(to_data(default()) | {"name": "Quai n\u00ba 5 & +/#%", "sessions": 88})
    query = url_state.to_address(scenario, "n=60&v=1")
    page, pictures = host_page.page, Pictures(host_page.page)
    host_page.open(f"?{query}")
    _, png = pictures.save(f"Picture: {labels.TITLES['day']}")

    page.goto(f"{host_page.url}/shelf")
    host_page.expect_all_painted()
    assert pictures.scenario() == default()
    before = host_page.asked()
    pictures.drag("dragover", ("a.png", png))
    expect(pictures.hint()).to_be_visible()
    pictures.drop(("a.png", png))
    expect(pictures.hint()).to_be_hidden()
    pictures.expect_opened("a.png", host_page, before)
    assert pictures.scenario() == scenario
    assert pictures.pin() == "n=60&v=1"
    assert host_page.query() == f"?{query}"
    assert page.locator("#page-host").is_visible()

    before = host_page.asked()
    page.go_back()
    host_page.expect_all_painted(before)
    assert pictures.scenario() == default()


def test_picked_files_open(host_page):
    """The button opens a scenario file, and a picture whose text another program has packed."""
    host_page.open("?n=33&v=1")
    pictures = Pictures(host_page.page)
    scenario = from_data(to_data(default()) | {"sessions": 91})
    before = host_page.asked()
    pictures.pick("mine.json", scenario_file(to_data(scenario)))
    pictures.expect_opened("mine.json", host_page, before)
    assert pictures.scenario() == scenario

    info = PngImagePlugin.PngInfo()
    info.add_itxt(KEYWORD.decode(), "n=44&v=1", zip=True)
    packed = io.BytesIO()
    Image.new("RGB", (8, 8)).save(packed, "PNG", pnginfo=info)
    before = host_page.asked()
    pictures.pick("packed.png", packed.getvalue())
    pictures.expect_opened("packed.png", host_page, before)
    assert pictures.scenario().sessions == 44


def test_file_that_holds_no_scenario_is_refused_in_a_sentence(host_page):
    """A damaged or foreign file leaves the page as it is, and one sentence says why."""
    host_page.open("?n=33&v=1")
    pictures = Pictures(host_page.page)
    info = PngImagePlugin.PngInfo()
    info.add_itxt(KEYWORD.decode(), "n=44&v=1")
    made = io.BytesIO()
    Image.new("RGB", (8, 8)).save(made, "PNG", pnginfo=info)
    good = made.getvalue()
    plain = io.BytesIO()
    Image.new("RGB", (8, 8)).save(plain, "PNG")
    wrong = io.BytesIO()
    info = PngImagePlugin.PngInfo()
    info.add_itxt(KEYWORD.decode(), "n=44&v=1\n")
    Image.new("RGB", (8, 8)).save(wrong, "PNG", pnginfo=info)
    bomb = io.BytesIO()
    info = PngImagePlugin.PngInfo()
    info.add_itxt(KEYWORD.decode(), "n" * 5_000_000, zip=True)
    Image.new("RGB", (8, 8)).save(bomb, "PNG", pnginfo=info)
    bad = to_data(default())
    bad["host"]["cores"] = 0
    with pytest.raises(InputError) as refused:
        from_data(bad)
    cases = [
        (good.replace(b"n=44", b"n=45"), "is a damaged PNG."),
        (good[:-6], "is a PNG that was cut short."),
        (plain.getvalue(), "is a PNG without a Crestline link."),
        (wrong.getvalue(), "holds a link that cannot be read."),
        (bomb.getvalue(), "holds a text that is too long."),
        (b"hello", "is neither a PNG nor a scenario file."),
        (b"", "is neither a PNG nor a scenario file."),
        (scenario_file(bad), f"could not be opened: {refusal(refused.value)}"),
    ]
    for content, sentence in cases:
        pictures.drop(("<i>x</i>.png", content))
        pictures.expect_refused(f"<i>x</i>.png {sentence}")
    pictures.drop(("a.png", good), ("b.png", good))
    pictures.expect_refused("a.png came with others; open one file at a time.")
    expect(pictures.failure).to_be_in_viewport()
    assert pictures.scenario().sessions == 33
    assert host_page.query() == "?n=33&v=1"


def test_command_saves_the_same_pictures(tmp_path):
    """The command makes the four pictures of a link without a browser open, the link inside."""
    with ThreadPoolExecutor() as aside:  # Playwright cannot be asked from the thread it drives
        chromium = aside.submit(launch_options).result()["executable_path"]
    done = subprocess.run(
        [sys.executable, "-m", "app", "export", "?n=140&v=1", "--out", str(tmp_path / "out")],
        cwd=REPOSITORY,
        env=os.environ | {"CRESTLINE_CHROMIUM": chromium},
        capture_output=True,
        text=True,
        timeout=100,
    )
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.splitlines() == [str(tmp_path / "out" / name) for name in NAMES]
    for name in NAMES:
        png = (tmp_path / "out" / name).read_bytes()
        image = Image.open(io.BytesIO(png))
        assert image.size == SIZE
        assert image.getpixel((0, 0))[:3] == WHITE
        assert link_in(png) == "n=140&v=1"
        inked = colours(image, (80, 80, 3120, 400)) | colours(image, (80, 1300, 3120, 1720))
        assert min(sum(colour) for colour in inked) < 200
