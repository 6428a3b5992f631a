"""Can both looks be read? Every pair of text and ground is measured, in charts and page alike.

Published: WCAG 2.2 (W3C, 2023), success criteria 1.4.3 (text, 4.5 : 1) and 1.4.11 (what is
needed to understand a graphic, 3 : 1); contrast as defined there under "relative luminance".
"""

import re

import pytest

from app.places import assets_folder
from app.theme import ARM_LABEL, DARK, DARK_STAGE, DASH, LIGHT, LIGHT_STAGE, THEMES

TEXT_RATIO = 4.5
LINE_RATIO = 3.0
LOOKS = {"light": LIGHT, "dark": DARK}


def rgb(colour):
    """The three channels of "#rrggbb", 0 to 255."""
    return tuple(int(colour[i : i + 2], 16) for i in (1, 3, 5))


def luminance(channels):
    """The relative luminance of a colour."""
    parts = [c / 255 for c in channels]
    linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one, other):
    """The contrast ratio of two colours, each "#rrggbb" or three channels."""
    channels = [rgb(c) if isinstance(c, str) else c for c in (one, other)]
    low, high = sorted(luminance(c) for c in channels)
    return (high + 0.05) / (low + 0.05)


def laid_over(fill, ground):
    """What "rgba(r,g,b,a)" over a ground looks like."""
    *channels, alpha = (float(part) for part in re.findall(r"[\d.]+", fill))
    return tuple(alpha * c + (1 - alpha) * g for c, g in zip(channels, rgb(ground), strict=True))


def blocks(name):
    """The variables set in each block of a style sheet that sets any, in its order."""
    text = re.sub(r"/\*.*?\*/", "", (assets_folder() / name).read_text("utf-8"), flags=re.DOTALL)
    found = []
    for selector, body in re.findall(r"([^{}]+)\{([^{}]*)\}", text):
        variables = dict(re.findall(r"--([\w-]+):\s*(#[0-9a-f]{6})", body))
        if variables:
            found.append((selector.strip(), variables))
    return found


def looks_of_the_page():
    """The variables of the light look and of each way to the dark one, all style sheets merged."""
    merged = {}
    for sheet in ("crestline.css", "host-stage.css"):
        for selector, variables in blocks(sheet):
            name = {":root": "light", ':root[data-look="dark"]': "chosen dark",
                    ':root:not([data-look="light"])': "system dark"}[selector]  # fmt: skip
            merged.setdefault(name, {}).update(variables)
    return merged


def test_contrast_is_that_of_the_definition():
    """The measure gives 21 for black on white and 1 for a colour on itself."""
    # Derived: (1 + 0.05) / (0 + 0.05).
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert contrast("#9a5b00", "#9a5b00") == pytest.approx(1)
    # Derived: the grey #767676 is known as the lightest that passes on white.
    assert contrast("#767676", "#ffffff") >= TEXT_RATIO > contrast("#777777", "#ffffff")


@pytest.mark.parametrize("theme", THEMES.values(), ids=lambda theme: theme.name)
def test_charts_can_be_read(theme):
    """Labels reach 4.5 : 1 on the chart's ground and on each arm's band, lines reach 3 : 1."""
    bands = [laid_over(theme.fill(arm), theme.ground) for arm in DASH]
    for colour in (theme.text, theme.target):  # a target's label has no ground of its own
        for ground in (theme.ground, *bands):
            assert contrast(colour, ground) >= TEXT_RATIO, (theme.name, colour, ground)
    for colour in (theme.software, theme.offloaded, theme.ghost):  # on a ground of their own
        assert contrast(colour, theme.ground) >= TEXT_RATIO, (theme.name, colour)
    for arm, band in zip(DASH, bands, strict=True):
        assert contrast(theme.colour(arm), band) >= LINE_RATIO, (theme.name, arm)


@pytest.mark.parametrize("look", ["light", "chosen dark", "system dark"])
def test_page_can_be_read(look):
    """Text reaches 4.5 : 1 on both grounds of the page, the ring of focus 3 : 1."""
    colours = looks_of_the_page()[look]
    for ground in (colours["ground"], colours["panel"]):
        for name in ("text", "soft", "software", "offloaded", "wrong"):
            assert contrast(colours[name], ground) >= TEXT_RATIO, (look, name, ground)
        for name in ("focus", "pinned"):
            assert contrast(colours[name], ground) >= LINE_RATIO, (look, name, ground)


@pytest.mark.parametrize("look", ["light", "chosen dark", "system dark"])
def test_page_and_charts_use_the_same_colours(look):
    """The style sheets and the theme of the charts agree in each look."""
    theme, colours = LOOKS[look.split()[-1]], looks_of_the_page()[look]
    pairs = {"ground": theme.ground, "text": theme.text, "soft": theme.target,
             "software": theme.software, "offloaded": theme.offloaded,
             "pinned": theme.ghost}  # fmt: skip
    assert {name: colours[name] for name in pairs} == pairs


def test_paper_has_the_colours_of_the_light_look():
    """What is printed has the light look's colours, whatever the screen shows."""
    ((_, printed),) = blocks("print.css")
    assert printed == looks_of_the_page()["light"]
    used = set(re.findall(r"#[0-9a-f]{6}", (assets_folder() / "print.css").read_text("utf-8")))
    assert used <= {*printed.values(), LIGHT.faint}


@pytest.mark.parametrize(("small", "large"), [(LIGHT, LIGHT_STAGE), (DARK, DARK_STAGE)])
def test_stage_differs_from_the_page_in_size_only(small, large):
    """On the stage type is more than twice as large and lines are thicker, colours the same."""
    assert large.font_px >= 28
    assert large.thick(2.5) >= 5
    sizes = {"name": "", "font_px": 0, "line_scale": 0}
    assert vars(small) | sizes == vars(large) | sizes


def test_arms_are_told_apart_without_colour():
    """Each arm has a dash and a name of its own."""
    assert len(set(DASH.values())) == len(set(ARM_LABEL.values())) == 2
