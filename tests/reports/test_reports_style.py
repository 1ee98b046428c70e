import itertools

import matplotlib.colors as mcolors
import numpy as np
import pytest
from skimage.color import deltaE_ciede2000, rgb2lab

from invasimap.reports.style import (
    ACCESS,
    CONTOUR_TEXT,
    CREW_ALPHA,
    FEATURE_AREA,
    GROUND,
    INK,
    LINE,
    OUTCOME,
    PAPER,
    QUIET,
    SCREEN,
    SHADE,
    ZONE,
    Area,
)
from invasimap.reports.wording import OUTCOME_WORDS, OUTCOMES

FILLED = [name for name in OUTCOME if name != "outside"]  # ground outside the stands is left white, hatched apart

# Machado, Oliveira and Fernandes (2009), severity 1.0, on linear RGB
VISION = {
    "full": np.eye(3),
    "no red cones": np.array(
        [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]]
    ),
    "no green cones": np.array(
        [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]]
    ),
    "no blue cones": np.array(
        [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]]
    ),
}


def seen(color: str, vision: str) -> np.ndarray:
    rgb = np.array(mcolors.to_rgb(color))
    linear = np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4)
    linear = np.clip(VISION[vision] @ linear, 0, 1)
    back = np.where(linear <= 0.0031308, linear * 12.92, 1.055 * linear ** (1 / 2.4) - 0.055)
    return rgb2lab(back[None, None])[0, 0]


@pytest.mark.parametrize("vision", VISION)
def test_fills_stay_apart_for_every_kind_of_colour_vision(vision: str) -> None:
    pairs = itertools.combinations(FILLED, 2)
    least = min(
        (float(deltaE_ciede2000(seen(OUTCOME[a].fill, vision), seen(OUTCOME[b].fill, vision))), a, b) for a, b in pairs
    )
    assert least[0] > 10, least  # 2.3 is just noticeable side by side


def test_fills_stay_apart_in_grey() -> None:
    lightness = sorted(seen(OUTCOME[name].fill, "full")[0] for name in FILLED)
    assert np.diff(lightness).min() > 8


def test_harder_ground_is_darker() -> None:
    grey = [seen(OUTCOME[name].fill, "full")[0] for name in ("tractor", "atv_hose", "hand_only", "foot", "no_spray")]
    assert grey == sorted(grey, reverse=True)


def test_every_outcome_has_its_own_hatch_mark_and_words() -> None:
    assert tuple(OUTCOME) == OUTCOMES == tuple(OUTCOME_WORDS)
    assert len({look.hatch[:1] for look in OUTCOME.values()}) == len(OUTCOME)
    assert len({look.mark for look in OUTCOME.values()}) == len(OUTCOME)
    assert ZONE["no_spray"].hatch != ZONE["hand_only"].hatch


def over(fill: str, alpha: float, ground: str = PAPER) -> str:
    """A colour let through by ``alpha`` over another."""
    mixed = alpha * np.array(mcolors.to_rgb(fill)) + (1 - alpha) * np.array(mcolors.to_rgb(ground))
    return str(mcolors.to_hex(mixed))


def nearest(colors: dict[str, str], vision: str) -> tuple[float, str, str]:
    """The two of some colours that are least apart (CIEDE2000)."""
    return min(
        (float(deltaE_ciede2000(seen(colors[a], vision), seen(colors[b], vision))), a, b)
        for a, b in itertools.combinations(colors, 2)
    )


@pytest.mark.parametrize("ground", [PAPER, "#4E5B3F", "#8A8574"], ids=["paper", "woods", "dry grass"])
@pytest.mark.parametrize("access", ["tractor", "atv_hose", "foot"])
@pytest.mark.parametrize("vision", VISION)
def test_fills_of_crew_files_stay_apart_on_any_ground(vision: str, access: str, ground: str) -> None:
    """There is no hatch on a phone: colour alone tells what may be sprayed from what may not."""
    looks = {
        "open": OUTCOME[access], "hand_only": OUTCOME["hand_only"], "no_spray": ZONE["no_spray"],
        "hand_ground": ZONE["hand_only"],
    }  # fmt: skip
    least = nearest({kind: over(look.fill, CREW_ALPHA[kind], ground) for kind, look in looks.items()}, vision)
    assert least[0] > 8, least  # three times what is just noticeable, as lines, names and folders tell them apart too


@pytest.mark.parametrize("vision", VISION)
def test_areas_without_a_hatch_stay_apart(vision: str) -> None:
    plain = {"water": FEATURE_AREA["water"], "open ground": GROUND["open_ground"], "nothing": Area(fill=PAPER)}
    assert not any(look.hatch for look in plain.values())
    least = nearest({name: over(look.fill, look.alpha) for name, look in plain.items()}, vision)
    assert least[0] > (5 if vision == "no blue cones" else 10), least  # one in ten thousand sees so; edges help too


@pytest.mark.parametrize("group", [OUTCOME, ZONE, ACCESS, FEATURE_AREA, GROUND], ids=lambda group: next(iter(group)))
def test_classes_are_told_apart_in_grey_by_hatch_or_lightness(group: dict[str, Area]) -> None:
    filled = {name: look for name, look in group.items() if look.fill != "none"}
    for a, b in itertools.combinations(filled.values(), 2):
        light = [seen(over(look.fill, look.alpha), "full")[0] for look in (a, b)]
        assert a.hatch[:1] != b.hatch[:1] or abs(light[0] - light[1]) > 8, (a, b)


def test_lines_differ_by_more_than_colour() -> None:
    """Water, dry water, other features, barriers, edges of zones: dashes, strokes or weight."""
    drawn = {(look.dash, look.mark, look.line_pt) for look in LINE.values()}
    assert len(drawn) == len(LINE)


def luminance(color: str) -> float:
    rgb = np.array(mcolors.to_rgb(color))
    return float(np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4) @ [0.2126, 0.7152, 0.0722])


def contrast(one: str, other: str) -> float:
    """By WCAG 2.2: 21 of black on white, 4.5 the least for text."""
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_contrast_is_that_of_the_standard() -> None:
    assert contrast("#000000", "#FFFFFF") == pytest.approx(21)
    assert contrast("#777777", "#FFFFFF") == pytest.approx(4.48, abs=0.005)


def test_words_are_readable_on_what_they_stand_on() -> None:
    relief = mcolors.to_hex([SHADE[0]] * 3)  # the darkest of it
    pairs = [
        (INK, PAPER), (QUIET, PAPER), (INK, relief), (CONTOUR_TEXT, relief), (SCREEN["quiet"], PAPER),
        (SCREEN["faint"], PAPER), (PAPER, SCREEN["pressed"]), (PAPER, SCREEN["alarm"]), (INK, SCREEN["warn"]),
        (INK, SCREEN["head"]),
    ]  # fmt: skip
    for words, ground in pairs:
        assert contrast(words, ground) >= 4.5, (words, ground)


def test_hatch_on_fill_is_readable() -> None:
    for look in OUTCOME.values():
        if look.hatch:
            assert contrast(look.fill, look.hatch_color) >= 3, look
