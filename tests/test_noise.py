"""The noise floor against noise that was put in."""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from grader.errors import BatchError
from grader.noise import NoiseFloor, measure_noise
from tests.scenes import Camera, backdrop, card_corners, develop, marker_texture, paste, pot

CAMERA = Camera(size_px=(900, 675))
DISTANCE_MM = 380.0


def _repeat(
    folder: Path,
    *,
    shots: int = 3,
    noise: float = 0.02,
    exposure_spread: float = 0.0,
    scorch_on: int | None = None,
    seeds: tuple[int, ...] | None = None,
) -> NoiseFloor:
    folder.mkdir(parents=True, exist_ok=True)
    rng = np.random.default_rng(9)
    for shot in range(shots):
        middle = (450.0 + rng.uniform(-6, 6), 337.0 + rng.uniform(-6, 6))
        picture, mask = pot(
            backdrop(CAMERA, (0.2, 0.2, 0.2)),
            middle_px=middle,
            height_px=420,
            seed=4 if seeds is None else seeds[shot],
        )
        if shot == scorch_on:
            rows, columns = np.indices(mask.shape)
            away = np.hypot(rows - middle[1] - 110, columns - middle[0]) < 45
            picture[mask & away] *= (0.75, 0.68, 0.55)
        card = card_corners(28, 28, (78, 35, DISTANCE_MM))
        picture = paste(picture, marker_texture(paper=0.7), card, CAMERA)
        gain = float(np.exp(rng.normal(0, exposure_spread)))
        rgb = develop(picture, gains=(gain, gain, gain), noise=noise, seed=100 + shot)
        Image.fromarray(rgb).save(folder / f"IMG_{shot:04d}.png", compress_level=1)
    return measure_noise(folder)


@pytest.fixture(scope="module")
def still(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, NoiseFloor]:
    """Three shots of a scene in which nothing changes: their folder, and what they show."""
    folder = tmp_path_factory.mktemp("still")
    return folder, _repeat(folder)


def test_more_grain_is_a_larger_number_and_specks_feel_it_more(tmp_path: Path) -> None:
    quiet = _repeat(tmp_path / "quiet", noise=0.01)
    loud = _repeat(tmp_path / "loud", noise=0.08)
    assert quiet.shots == loud.shots == 3
    assert loud.noise_de00 > quiet.noise_de00
    assert loud.speck_de00 > quiet.speck_de00
    assert loud.speck_de00 > loud.noise_de00
    # One sensor step is all that is left of a still scene in a large patch.
    assert quiet.noise_de00 < 0.5


def test_exposure_is_between_photos_and_not_within(
    tmp_path: Path, still: tuple[Path, NoiseFloor]
) -> None:
    moving = _repeat(tmp_path / "moving", exposure_spread=0.15)
    assert moving.between_de00 > still[1].between_de00 + 1.5
    assert moving.noise_de00 < still[1].noise_de00 + 0.3


def test_a_real_change_is_not_hidden(tmp_path: Path, still: tuple[Path, NoiseFloor]) -> None:
    scorched = _repeat(tmp_path / "scorched", scorch_on=2)
    assert scorched.noise_de00 > 2 * still[1].noise_de00


def test_sizes_repeat_to_a_fraction_of_a_millimetre(still: tuple[Path, NoiseFloor]) -> None:
    found = still[1]
    assert found.size_mm is not None and found.extent_mm is not None
    assert found.size_mm < 0.5
    assert found.extent_mm == pytest.approx(1.02 * 420 / (CAMERA.focal_px / DISTANCE_MM), rel=0.02)


def test_another_side_is_left_out_and_named(tmp_path: Path, still: tuple[Path, NoiseFloor]) -> None:
    folder = tmp_path / "mixed"
    shutil.copytree(still[0], folder)
    found = still[1]
    other, _ = pot(backdrop(CAMERA, (0.2, 0.2, 0.2)), height_px=420, paint=False, specks=0)
    Image.fromarray(develop(other)).save(folder / "IMG_0009.png")
    (folder / "IMG_0010.png").write_bytes(b"broken")
    mixed = measure_noise(folder)
    assert mixed.shots == found.shots
    assert any("IMG_0009.png" in note for note in mixed.notes)
    assert any("IMG_0010.png" in note for note in mixed.notes)
    assert mixed.size_mm is not None


def test_too_few_shots(tmp_path: Path) -> None:
    with pytest.raises(BatchError, match="only 2"):
        _repeat(tmp_path / "two", shots=2)
    (tmp_path / "none").mkdir()
    for folder in (tmp_path / "none", tmp_path / "gone"):
        with pytest.raises(BatchError) as caught:
            measure_noise(folder)
        assert caught.value.remedy
