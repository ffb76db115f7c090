"""Sound profiles, however people's programs happen to write them."""

from __future__ import annotations

import tracemalloc
from pathlib import Path

import numpy as np
import pytest

from wearsim.bench.mirror import Mirror
from wearsim.bench.profile import CORRELATION_LENGTH, ROWS_USED, SMOOTH_SHARE, Profile, read_profile, write_profile
from wearsim.bench.toml_io import load_bench
from wearsim.errors import InputError

MIRROR = Mirror(diameter=0.3, radius_of_curvature=3.0)


def read(tmp_path: Path, raw: bytes) -> Profile:
    path = tmp_path / "profile.csv"
    path.write_bytes(raw)
    return read_profile(path, MIRROR)


def test_three_columns(folder: Path) -> None:
    profile = read_profile(folder / "profile.csv", MIRROR)
    assert profile.radius.tolist() == [0.0, 0.05, 0.1, 0.14, 0.148]
    assert profile.error.tolist() == [0.0, 12.5e-9, -30e-9, 80e-9, -5e-9]
    assert profile.sigma is not None
    assert profile.sigma.tolist() == [5e-9, 4e-9, 3e-9, 3e-9, 4e-9]


def test_two_columns_have_no_sigma(tmp_path: Path) -> None:
    assert read(tmp_path, b"radius_mm,error_nm\n0,1\n50,2\n150,3\n").sigma is None


@pytest.mark.parametrize(
    "raw",
    [
        b"radius_mm,error_nm\r\n0,1\r\n50,-2\r\n140,3\r\n",
        b"radius_mm,error_nm\r0,1\r50,-2\r140,3\r",
        b"\xef\xbb\xbfradius_mm,error_nm\n0,1\n50,-2\n140,3",
        b"# made up\n\nradius_mm, error_nm\n 0 , 1\n# in between\n50,-2.0\n1.4e2,+3\n\n",
        b"radius_cm,error_um\n0,.001\n5,-0.002\n14,3e-3\n",
        "radius_m,error_µm\n0,0.001\n0.05,-0.002\n0.14,0.003\n".encode(),
    ],
    ids=["CRLF", "CR", "byte-order mark", "comments and spaces", "other units", "micro sign"],
)
def test_the_same_profile(raw: bytes, tmp_path: Path) -> None:
    profile = read(tmp_path, raw)
    assert profile.radius.tolist() == [0.0, 0.05, 0.14]
    assert profile.error.tolist() == [1e-9, -2e-9, 3e-9]


def test_four_columns_and_back_to_the_last_digit(tmp_path: Path) -> None:
    profile = read(tmp_path, b"radius_mm,error_nm,sigma_nm,smooth_nm\n0,1,5,3\n50,2,4,0\n150,3,4,4\n")
    assert profile.smooth is not None and profile.sigma is not None
    assert profile.smooth.tolist() == [3e-9, 0.0, 4e-9]
    smooth = profile.smooth / 3.0
    path = tmp_path / "again.csv"
    write_profile(path, profile.radius, profile.error, profile.sigma, "of two tests", smooth)
    again = read_profile(path, MIRROR)
    for name in ("radius", "error", "sigma"):
        assert np.array_equal(getattr(again, name), getattr(profile, name))
    assert again.smooth is not None and np.array_equal(again.smooth, smooth)
    write_profile(path, profile.radius, profile.error, profile.sigma)
    assert read_profile(path, MIRROR).smooth is None


ROWS = np.linspace(0.0, 0.15, 31)


def test_what_rows_share_and_what_is_their_own(rng: np.random.Generator) -> None:
    """Against errors that are drawn: a smooth wave of chance as large as `smooth`, and each row's own on top."""
    sigma, smooth = np.linspace(4e-9, 8e-9, 31), np.linspace(1e-9, 6e-9, 31)
    covariance = Profile(ROWS, 0.0 * ROWS, sigma, smooth).covariance(0.15)
    assert np.diagonal(covariance) == pytest.approx(sigma**2)
    assert np.linalg.eigvalsh(covariance).min() > 0.0
    # random Fourier waves have a squared exponential as their covariance
    frequency, phase = (
        rng.normal(0.0, 1.0 / (CORRELATION_LENGTH * 0.15), (4000, 40)),
        rng.uniform(0, 2 * np.pi, (4000, 40)),
    )
    waves = np.sqrt(2.0 / 40) * np.cos(frequency[..., None] * ROWS + phase[..., None]).sum(axis=1)
    drawn = smooth * waves + np.sqrt(sigma**2 - smooth**2) * rng.standard_normal((4000, 31))
    assert np.cov(drawn.T) == pytest.approx(covariance, abs=0.08 * covariance.max())


def test_rows_that_share_all_or_nothing() -> None:
    sigma = np.full(31, 4e-9)
    alone, shared, unsaid = (Profile(ROWS, 0.0 * ROWS, sigma, smooth) for smooth in (0.0 * sigma, sigma, None))
    assert alone.covariance(0.15) == pytest.approx(np.diag(sigma**2))
    step = ROWS[1] / (CORRELATION_LENGTH * 0.15)
    assert shared.covariance(0.15)[0, 1] == pytest.approx(16e-18 * np.exp(-0.5 * step**2))
    half = unsaid.covariance(0.15)
    assert half[0, 1] == pytest.approx(SMOOTH_SHARE * shared.covariance(0.15)[0, 1])
    assert half[0, 0] == pytest.approx(16e-18)
    assert not Profile(ROWS, 0.0 * ROWS).covariance(0.15).any()
    exact = Profile(ROWS, 0.0 * ROWS, 0.0 * sigma).covariance(0.15, least=1e-10)
    assert exact == pytest.approx(1e-20 * np.eye(31))


def test_means_of_neighbouring_rows_are_as_good_as_means_are(rng: np.random.Generator) -> None:
    """Of four rows each: the mean's variance by the covariance of all, its parts close together."""
    radius = np.linspace(0.0, 0.15, 400)
    sigma, smooth = np.full(400, 6e-9), np.full(400, 2e-9)
    profile = Profile(radius, rng.standard_normal(400), sigma, smooth)
    thin = profile.thinned(100)
    mean = np.kron(np.eye(100), np.full((1, 4), 0.25))
    assert thin.radius == pytest.approx(mean @ radius) and thin.error == pytest.approx(mean @ profile.error)
    whole = mean @ profile.covariance(0.15) @ mean.T
    assert thin.covariance(0.15) == pytest.approx(whole, abs=0.01 * whole.max())
    assert profile.thinned(400) is profile
    bare = Profile(radius, profile.error).thinned(100)
    assert bare.sigma is None and bare.smooth is None and bare.error == pytest.approx(thin.error)


def test_inches(tmp_path: Path) -> None:
    profile = read(tmp_path, b"radius_in,error_nm\n0,0\n3,0\n5.5,0\n")
    assert profile.radius.tolist() == [0.0, 0.0762, 0.1397]


def test_what_is_refused_in_inches_is_told_in_inches(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r'got "7 in"; expected at most 5.90551 in'):
        read(tmp_path, b"radius_in,error_nm\n0,0\n3,0\n7,0\n")
    with pytest.raises(InputError, match=r'got "2 in"; expected more than the 3 in before it'):
        read(tmp_path, b"radius_in,error_nm\n0,0\n3,0\n2,0\n")


def test_to_the_rim_and_to_nine_tenths(tmp_path: Path) -> None:
    for last in (b"135", b"150"):
        assert read(tmp_path, b"radius_mm,error_nm\n0,0\n50,0\n" + last + b",0\n").radius.size == 3


def test_largest_error_is_a_millimetre(tmp_path: Path) -> None:
    profile = read(tmp_path, b"radius_mm,error_mm\n0,1\n75,0.5\n150,0\n")
    assert np.ptp(profile.error) == 1e-3


def test_a_long_profile_is_averaged_in_linear_memory(tmp_path: Path) -> None:
    radius = np.linspace(0.0, 150.0, 20_000)
    error = 40.0 * np.cos(radius / 15.0)
    rows = "".join(f"{r!r},{e!r},{3.0 + r / 100!r}\n" for r, e in zip(radius.tolist(), error.tolist(), strict=True))
    raw = b"radius_mm,error_nm,sigma_nm\n" + rows.encode()
    tracemalloc.start()
    profile = read(tmp_path, raw)
    most = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert most < 60e6  # twenty thousand rows squared are 3 GB
    assert (profile.rows, profile.radius.size) == (20_000, ROWS_USED)
    assert profile.radius[0] < 1e-4 and profile.radius[-1] > 0.1499 and np.all(np.diff(profile.radius) > 0)
    np.testing.assert_allclose(profile.error, 40e-9 * np.cos(profile.radius / 15e-3), atol=0.01e-9)
    assert profile.sigma is not None
    own = 1.0 - SMOOTH_SHARE + SMOOTH_SHARE * 20  # the rows' own errors average out over twenty rows
    np.testing.assert_allclose(profile.sigma, (3e-9 + profile.radius * 1e-8) * np.sqrt(own / 20), rtol=1e-2)


def test_the_same_bench_with_a_byte_order_mark(folder: Path) -> None:
    path = folder / "bench.toml"
    plain = load_bench(path)
    path.write_bytes(b"\xef\xbb\xbf" + path.read_bytes().replace(b"\n", b"\r\n"))
    assert load_bench(path) == plain
