"""A section's parts: layers, tables, roots, footing, surface, steps by piece, settled sections."""

import dataclasses
import datetime
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from evenclay.sim import files
from evenclay.sim.ground import textures
from evenclay.sim.section import (
    BARE,
    LAYOUT,
    PLACES,
    SHRUBS,
    Ground,
    Section,
    Zone,
    index_of,
    moisture_index,
    settled,
    spin_up,
    strain_weights,
    weighted_suction,
)
from evenclay.sim.section.clay import clay_of
from evenclay.sim.section.climate import thornthwaite_mm
from evenclay.sim.section.layout import EDGE, INSIDE, STRIP, YARD
from evenclay.sim.weather.daily import Weather

Floats = NDArray[np.float64]

DRY = np.zeros(24)
SUN = np.clip(np.sin((np.arange(24) - 6.0) / 12.0 * np.pi), 0.0, None)
SUN_MM = 5.0 * SUN / SUN.sum()  # a clear day of 5 mm
INERT = Ground(matrix_mm_d=0.0, alpha_cm2_s=1e-9, crack_share=0.0)  # hardly anything moves in it


def test_weights_of_strain() -> None:
    edges = (0.0, 1.0, 2.0, 6.0)
    # 1.0 to 1.5 m and 2 - z / 5 below: 0.5 + integral from 1.5 to 2 of that; then from 2 to 6.
    expected = [1.0, 0.5 + (2.0 - 1.75 / 5.0) * 0.5, (2.0 - 4.0 / 5.0) * 4.0]
    np.testing.assert_allclose(strain_weights(edges, 1.5), expected)
    np.testing.assert_allclose(strain_weights(edges, 1.5, from_m=0.4)[0], 0.6)
    np.testing.assert_allclose(strain_weights((0.0, 9.0, 12.0), 1.5)[1], 0.1)  # none below 10 m


def test_suction_is_weighted_from_the_footing_down_and_never_below_two() -> None:
    pf = np.full((3, LAYOUT.layers), 3.0)
    pf[1] = 1.0  # soaked
    pf[2, 0] = 9.0  # above the footing nothing counts
    found = weighted_suction(pf, LAYOUT.edges_m, 0.4, 1.5)
    deep_m = 1.1 + 2.0 * 4.5 - (6.0**2 - 1.5**2) / 10.0
    np.testing.assert_allclose(found, [3.0 * deep_m, 2.0 * deep_m, 3.0 * deep_m])


def test_means_and_depths() -> None:
    assert LAYOUT.mean(0.3, 1.0).sum() == pytest.approx(1.0)
    assert LAYOUT.mean(0.3, 1.0) @ LAYOUT.middles_m == pytest.approx(0.65)
    assert LAYOUT.at(0.5) @ LAYOUT.middles_m == pytest.approx(0.5)
    assert len(PLACES) == len(set(PLACES)) == 5


@pytest.mark.parametrize("c_per_pf", [0.06, 0.09, 0.12])
def test_clay_holds_what_it_is_told_a_pf_and_its_texture_at_wilting_point(c_per_pf: float) -> None:
    clay = clay_of(textures.TEXTURES["clay"], Ground(c_per_pf=c_per_pf))
    around = clay.content(np.array([3.25, 3.35]))
    assert (around[0] - around[1]) / 0.1 == pytest.approx(c_per_pf, rel=0.01)
    wilted = float(textures.TEXTURES["clay"].water_content(10.0**4.2))
    assert clay.content(np.array(4.2)) == pytest.approx(wilted, abs=2e-4)
    pf = np.linspace(1.0, 5.0, 41)
    np.testing.assert_allclose(clay.pf(clay.content(pf)), pf, atol=0.02)


def test_other_soils_keep_their_own_curve() -> None:
    loam = textures.TEXTURES["loam"]
    clay = clay_of(loam, Ground())
    pf = np.array([1.5, 2.5, 4.2])
    np.testing.assert_allclose(clay.content(pf), loam.water_content(10.0**pf), atol=1e-3)


def test_clay_that_was_measured_holds_what_was_measured_on_any_ground() -> None:
    measured = textures.fitted(0.52, 0.41, 0.27, 2.0, cracks=True)
    kpa = np.array([33.0, 1500.0])
    pf = np.array([textures.pf_of_kpa(each) for each in kpa])
    steps = []
    for c_per_pf in (0.06, 0.12):
        clay = clay_of(measured, Ground(c_per_pf=c_per_pf))
        np.testing.assert_allclose(clay.content(pf), [0.41, 0.27], atol=1e-3)
        steps.append(clay.potential(3.2) - clay.potential(3.4))
    assert steps[0] == pytest.approx(steps[1])


def test_total_diffusion_is_alpha_where_the_matrix_moves_less() -> None:
    ground = Ground(alpha_cm2_s=0.001)
    clay = clay_of(textures.TEXTURES["clay"], ground)
    step = clay.potential(3.2) - clay.potential(3.4)
    assert step / 0.2 == pytest.approx(0.001 * 8.64 * ground.c_per_pf, rel=1e-3)
    # Wetter than pF 2 the matrix alone is left.
    by_matrix = clay_of(textures.TEXTURES["clay"], Ground(alpha_cm2_s=1e-12))
    wet = clay.potential(1.2) - clay.potential(1.8)
    assert wet == pytest.approx(by_matrix.potential(1.2) - by_matrix.potential(1.8), rel=1e-6)


def days_of(ground: Ground, zone: Zone, days: int, et0_mm: Floats, start_pf: float) -> Section:
    section = Section(ground, [zone], start_pf=start_pf, closed=True)
    section.live(np.zeros(24 * days), np.tile(et0_mm, days))
    return section


def test_roots_draw_what_is_asked_where_their_cover_stands() -> None:
    zone = Zone(coefficient=0.0, yard_coefficient=0.8, yard_reach_m=0.0)
    section = Section(INERT, [zone], start_pf=2.5, closed=True)
    before = section.pf()[0]
    section.live(DRY, SUN_MM)
    changed = np.abs(section.pf()[0] - before).max(axis=1) > 1e-6
    assert [LAYOUT.places[c] for c in np.flatnonzero(changed)] == [YARD, YARD]
    held = section.snapshot().water.T @ LAYOUT.thick_m * 1000.0
    start = float(clay_of(zone.texture, INERT).content(np.array(2.5))) * 6000.0
    assert start - held[0] == pytest.approx(0.8 * 5.0, rel=1e-6)


def test_the_yards_roots_reach_under_the_strip_and_past_it_below_the_footing() -> None:
    for reach_m, reached in (
        (0.6, [YARD, YARD, STRIP, STRIP]),
        (1.0, [YARD, YARD, STRIP, STRIP, EDGE, EDGE]),
    ):
        zone = Zone(coefficient=0.0, cover=BARE, yard_reach_m=reach_m)
        section = Section(INERT, [zone], start_pf=2.5, closed=True)
        before = section.pf()[0]
        section.live(DRY, SUN_MM)
        changed = np.abs(section.pf()[0] - before) > 1e-6
        assert [LAYOUT.places[c] for c in np.flatnonzero(changed.any(axis=1))] == reached
        edge = changed[LAYOUT.places.index(EDGE)]
        assert not edge[: LAYOUT.edges_m.index(0.3)].any()


def test_nothing_passes_the_footing() -> None:
    wet = Zone(coefficient=0.0, yard_coefficient=0.0, slab_m=0.4)
    for footing_m, moves in ((0.3, True), (6.0, False)):
        section = Section(Ground(footing_m=footing_m), [wet], closed=True)
        pf = np.full((1, LAYOUT.columns, LAYOUT.layers), 3.5)
        pf[:, : LAYOUT.places.index(EDGE)] = 2.5
        section.set_pf(pf)
        section.live(np.zeros(48), np.zeros(48))
        edge = section.pf()[0, LAYOUT.places.index(EDGE)]
        assert (np.abs(edge - 3.5) > 1e-4).any() == moves
        assert np.abs(edge[:3] - 3.5).max() < 0.05


def test_a_zone_without_a_slab_has_nothing_under_it() -> None:
    section = Section(Ground(), [Zone(slab_m=None)], start_pf=3.0, closed=True)
    section.live(np.full(480, 0.5), np.zeros(480))
    inside = LAYOUT.places.index(EDGE)
    # Under the slab of nobody water only settles.
    assert np.abs(section.pf()[0, inside:] - section.pf()[0, inside]).max() < 1e-9


def test_more_than_the_ground_takes_and_the_surface_holds_runs_off() -> None:
    zone = Zone(coefficient=0.0, yard_coefficient=0.0)
    section = Section(Ground(crack_share=0.0), [zone], start_pf=2.2)
    water, seconds = np.zeros((24, 1)), np.full((24, 1), 600.0)
    water[3] = 16.0
    days = section.live(DRY, DRY, water, seconds)
    off_mm = days.water["water_runoff_mm"][0, 0]
    assert 16.0 - 3.0 - 2.0 < off_mm < 16.0 - 3.0
    assert days.water["rain_runoff_mm"][0, 0] == 0.0
    assert days.water["water_mm"][0, 0] == pytest.approx(16.0)
    # In six turns of ten minutes an hour apart nearly all of it goes in.
    section = Section(Ground(crack_share=0.0), [zone], start_pf=2.2)
    water[3], water[3:15:2] = 0.0, 16.0 / 6.0
    assert section.live(DRY, DRY, water, seconds).water["water_runoff_mm"][0, 0] < 0.5


def test_water_that_cracks_swallow_wets_the_layers_that_they_reach() -> None:
    zone = Zone(coefficient=0.0, yard_coefficient=0.0)
    ground = dataclasses.replace(INERT, crack_share=0.5, fissured_m=1.0)
    section = Section(ground, [zone], start_pf=4.3)
    before = section.pf()[0, 2]
    rain = DRY.copy()
    rain[5] = 10.0
    days = section.live(rain, DRY)
    wetted = before - section.pf()[0, 2]
    down = LAYOUT.edges_m.index(1.0)
    assert days.water["cracks_mm"][0, 0] == pytest.approx(5.0)
    assert np.all(wetted[1:down] > 1e-3)
    np.testing.assert_allclose(wetted[down:], 0.0, atol=1e-5)
    wet = Section(ground, [zone], start_pf=3.0)
    assert wet.live(rain, DRY).water["cracks_mm"][0, 0] == 0.0


def test_bare_ground_evaporates_by_ritchies_law() -> None:
    """Ritchie 1972 for a clay (from memory): 6 mm, then 3.5 mm by the root of days."""
    zone = Zone(coefficient=1.0, cover=BARE, yard_coefficient=0.0, yard_reach_m=0.0, slab_m=None)
    section = Section(Ground(), [zone], start_pf=2.2, closed=True)
    lost = section.live(np.zeros(2400), np.tile(SUN_MM, 100)).water["evaporated_mm"][:, 0].cumsum()
    for day in (10, 25, 50, 100):
        first_d = 6.0 / 5.0
        assert lost[day - 1] == pytest.approx(6.0 + 3.5 * np.sqrt(day - first_d), rel=0.03)


def test_pieces_of_a_span_do_what_the_whole_does() -> None:
    random = np.random.default_rng(5)
    rain = random.choice([0.0, 0.0, 0.0, 4.0], 240)
    et0 = np.tile(SUN_MM, 10)
    zones = [Zone(), Zone(cover=BARE, coefficient=0.5), Zone(cover=SHRUBS)]
    water = random.choice([0.0, 0.0, 3.0], (240, 3))
    whole = Section(Ground(), zones)
    days = whole.live(rain, et0, water)
    piece = Section(Ground(), zones)
    hours, room = piece.hours(rain, et0), piece.room(10)
    hours.water_m[:] = water / 1000.0
    for from_h, to_h in ((0, 1), (1, 7), (7, 100), (100, 101), (101, 240)):
        piece.go_on(hours, from_h, to_h, room)
    np.testing.assert_array_equal(piece.pf(), whole.pf())
    np.testing.assert_array_equal(room.pf, days.pf)
    np.testing.assert_array_equal(room.water, days.water)


def test_zones_do_not_know_of_each_other() -> None:
    rain, et0 = np.zeros(240), np.tile(SUN_MM, 10)
    rain[30:40] = 2.0
    zones = [Zone(coefficient=1.1), Zone(cover=BARE, exposure=0.5), Zone(cover=SHRUBS, slab_m=0.5)]
    together = Section(Ground(), zones)
    together.live(rain, et0)
    for z, zone in enumerate(zones):
        alone = Section(Ground(), [zone])
        alone.live(rain, et0)
        np.testing.assert_array_equal(alone.pf()[0], together.pf()[z])


def test_what_is_looked_at_agrees() -> None:
    section = days_of(Ground(), Zone(), 20, SUN_MM, 2.8)
    pf, strip = section.pf()[0], np.array(LAYOUT.places) == STRIP
    assert section.strip_pf()[0] == pytest.approx(pf[strip].mean(axis=0) @ LAYOUT.mean(0.3, 1.0))
    clay = clay_of(textures.TEXTURES["clay"], Ground())
    at_half = clay.content(pf[strip]).mean(axis=0) @ LAYOUT.at(0.5)
    assert section.content(STRIP, LAYOUT.at(0.5))[0] == pytest.approx(at_half, abs=1e-4)
    wide = np.array([1.5, 2.0]) / 3.5
    inside = [c for c, place in enumerate(LAYOUT.places) if place == INSIDE]
    deep = LAYOUT.at(2.0)
    assert section.place_pf(INSIDE, deep)[0] == pytest.approx(wide @ (pf[inside] @ deep))


@pytest.fixture
def cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setattr(spin_up, "folder", lambda: tmp_path / "kept")
    return tmp_path / "kept"


DEEP_PF = 3.6


def year() -> tuple[Floats, Floats]:
    days = np.arange(365)
    summer = (1.0 - np.cos(2.0 * np.pi * days / 365.0)) / 2.0
    rain = np.zeros((365, 24))
    rain[days % 9 == 0, 5] = 16.0 * (1.0 - summer[days % 9 == 0])
    return rain.reshape(-1), (SUN_MM * (0.2 + summer)[:, None]).reshape(-1)


def test_a_settled_section_is_kept_and_found_again(cache: Path) -> None:
    rain, et0 = year()
    free = Ground(alpha_cm2_s=0.003)
    first = settled(free, [Zone()], rain, et0, deep_pf=DEEP_PF)
    (kept,) = cache.iterdir()
    again = settled(free, [Zone()], rain, et0, deep_pf=DEEP_PF)
    np.testing.assert_array_equal(again.section.pf(), first.section.pf())
    np.testing.assert_array_equal(again.level_pf, first.level_pf)
    for zone, rain_mm, deep_pf in (
        (Zone(coefficient=0.7), rain, DEEP_PF),
        (Zone(), rain * 1.01, DEEP_PF),
        (Zone(), rain, 3.0),
    ):
        count = len(list(cache.iterdir()))
        settled(free, [zone], rain_mm, et0, deep_pf=deep_pf)
        assert len(list(cache.iterdir())) == count + 1
    kept.write_bytes(b"torn")
    anew = settled(free, [Zone()], rain, et0, deep_pf=DEEP_PF)
    np.testing.assert_array_equal(anew.section.pf(), first.section.pf())
    forgotten = settled(free, [Zone()], rain, et0, deep_pf=DEEP_PF, keep=False)
    np.testing.assert_array_equal(forgotten.section.pf(), first.section.pf())


def test_a_damaged_file_of_a_settled_section_costs_time_only(
    cache: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    rain, et0 = year()
    ground, zones = Ground(alpha_cm2_s=0.003), [Zone()]
    lived = spin_up._spin_up(ground, zones, rain, et0, DEEP_PF)
    times = []

    def spun_up(*_: object) -> dict[str, Floats]:
        times.append(1)
        return dict(lived)

    monkeypatch.setattr(spin_up, "_spin_up", spun_up)

    def pf() -> Floats:
        return settled(ground, zones, rain, et0, deep_pf=DEEP_PF).section.pf()

    first = pf()
    (kept,) = cache.iterdir()
    whole = kept.read_bytes()
    cuts = [whole[:length] for length in range(0, len(whole), 97)]
    bent = [
        whole[:place] + bytes([whole[place] ^ 0xFF]) + whole[place + 1 :]
        for place in [*range(0, 200), *range(200, len(whole), 97), *range(-400, 0)]
        if place < len(whole) - 1
    ]
    for damaged in [*cuts, *bent]:
        kept.write_bytes(damaged)
        np.testing.assert_array_equal(pf(), first)
        assert list(cache.iterdir()) == [kept]
    assert len(times) > len(cuts) + len(bent) // 2
    times.clear()
    kept.write_bytes(whole[:-1])
    pf(), pf()
    assert len(times) == 1 and kept.read_bytes() == whole  # mended by the first
    assert kept not in files.written  # nobody asked for it
    monkeypatch.setattr(spin_up, "folder", lambda: kept / "no folder")
    np.testing.assert_array_equal(pf(), first)


def test_a_settled_section_has_forgotten_how_it_began(cache: Path) -> None:
    rain, et0 = year()
    found = settled(
        Ground(), [Zone(), Zone(cover=BARE, coefficient=0.5)], rain, et0, deep_pf=DEEP_PF
    )
    before = found.section.pf()
    for _ in range(10):
        days = found.section.live(rain, et0)
    assert np.abs(found.section.pf() - before).max() < 0.03
    level = days.pf[:, :, STRIP].mean(axis=0) @ LAYOUT.mean(0.3, 1.0)
    np.testing.assert_allclose(found.level_pf, level, atol=0.02)


def test_an_owners_soil_report_holds_the_ground_far_down(cache: Path) -> None:
    rain, et0 = year()
    found = settled(Ground(), [Zone()], rain, et0, deep_pf=3.0)
    assert found.section.pf()[0, -1, -1] == pytest.approx(3.0, abs=0.2)


@pytest.mark.parametrize("slab_m", [0.2, 0.25, 0.5])
def test_a_strip_wider_than_its_place_ends_at_the_slab(slab_m: float) -> None:
    """One of 1.5 m whose middle lies 0.25 m from the slab had no distance to the edge at all."""
    section = Section(Ground(), [Zone(width_m=1.5, slab_m=slab_m)], start_pf=3.5, bottom_pf=3.5)
    days = section.live(np.zeros(240), np.zeros(240), np.full((240, 1), 0.5))
    assert np.all(np.isfinite(days.pf))
    assert section.mass_balance_error_mm <= 1e-6
    assert days.pf[-1, 0, EDGE].mean() < days.pf[0, 0, EDGE].mean()


def test_the_index_of_a_record_takes_each_day_to_its_own_month() -> None:
    """A year whose months each have their number in degrees and ten times that in mm a day."""
    first = datetime.date(2001, 1, 1)
    month = np.array([(first + datetime.timedelta(days=day)).month for day in range(365)], float)
    year = Weather(first, 10.0 * month, month - 5.0, month + 5.0, np.zeros(365), 40.0, ())
    numbers = np.arange(1.0, 13.0)
    days = np.array([31, 28.25, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])
    by_hand = moisture_index(10.0 * numbers * days, numbers, 40.0)
    assert index_of(year, 40.0) == pytest.approx(by_hand, rel=1e-9)
    assert index_of(year, -40.0) != pytest.approx(by_hand, rel=1e-3)


def test_thornthwaites_index_by_hand() -> None:
    # 10 C all year: I = 12 * 2 ** 1.514 = 34.27, a = 1.0434, 16 * 2.918 ** a = 48.9 mm in a month
    # of thirty days of twelve hours. With as much rain every month there is neither surplus nor
    # deficit; with twice as much the surplus is the potential, with none the deficit.
    temp = np.full(12, 10.0)
    potential = thornthwaite_mm(temp, 0.0)
    assert potential.sum() == pytest.approx(48.9 * 365.25 / 30.0, rel=0.01)
    assert moisture_index(potential, temp, 0.0) == pytest.approx(0.0, abs=1e-6)
    assert moisture_index(2.0 * potential, temp, 0.0) == pytest.approx(100.0)
    assert moisture_index(0.0 * potential, temp, 0.0) == pytest.approx(-60.0)
