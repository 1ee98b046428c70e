import itertools

import matplotlib.colors as mcolors
import numpy as np
import pytest
from skimage.color import deltaE_ciede2000, rgb2lab

from invasimap.reports.style import OUTCOME, ZONE
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


def test_ink_on_white_and_hatch_on_fill_are_readable() -> None:
    def luminance(color: str) -> float:
        rgb = np.array(mcolors.to_rgb(color))
        return float(np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4) @ [0.2126, 0.7152, 0.0722])

    for look in OUTCOME.values():
        if look.hatch:
            light, dark = sorted((luminance(look.fill), luminance(look.hatch_color)), reverse=True)
            assert (light + 0.05) / (dark + 0.05) >= 3, look
