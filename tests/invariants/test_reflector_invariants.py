"""What must hold for the light of any reflector or diffuser, tried on random scenes."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from layout.geometry.rectangles import Rectangles
from layout.light.coefficients import engine_of, light_coefficients
from layout.light.lattice import cosine_hemisphere, fibonacci_lattice, grid_lattice
from layout.light.light_map import light_map
from layout.light.net import Net
from layout.light.sky_parts import SkyParts
from layout.optics.facets import facet_normals, lobe_weights
from layout.pieces import Blocker, Diffuser, Ground, Panel, Reflector, Scene
from layout.power.glass import transmission_ratio
from sites.conventions import unit_vector

EXACT = 1e-5
"""Single precision."""

DRAWN = 0.01
"""Of the arriving light: sums over facets and points."""

some = settings(max_examples=5, deadline=None, derandomize=True)
few = settings(max_examples=3, deadline=None, derandomize=True)
seeds = st.integers(0, 2**31)
slopes = st.tuples(st.floats(0.0, 25.0), st.floats(0.0, 25.0))


def piece(rng, kind, spread=1.5, size=(0.5, 1.6), **more):
    """A rectangle of any attitude."""
    axes = np.linalg.qr(rng.normal(size=(3, 3)))[0]
    along, up = rng.uniform(*size, 2)[:, None] * axes[:2]
    return kind(rng.uniform(-spread, spread, 3) - 0.5 * (along + up), along, up, **more)


def toward(rng, panel, kind, away=(0.8, 1.6), **more):
    """A sheet before a panel, its front more or less to it."""
    n = panel.normal + rng.normal(size=3) * 0.4
    middle = panel.centre + rng.uniform(*away) * n / np.linalg.norm(n)
    normal = panel.centre - middle + rng.normal(size=3) * 0.4
    normal /= np.linalg.norm(normal)
    first = np.cross(normal, rng.normal(size=3))
    first /= np.linalg.norm(first)
    along, up = rng.uniform(0.5, 1.6, 2)[:, None] * np.array([first, np.cross(normal, first)])
    return kind(middle - 0.5 * (along + up), along, up, **more)


def suns(rng, n=5):
    """Directions spread evenly over the sphere."""
    return np.degrees(np.arcsin(rng.uniform(-1.0, 1.0, n))), rng.uniform(0.0, 360.0, n)


def maps(scene, elevation, azimuth, **more):
    return light_map(scene, elevation, azimuth, dni=1.0, **more)


# A closed room: what leaves a reflector lands on its walls ----------------------------------------------------------


def room(rng, floor, hole=0.35):
    """A floor in a room of panels that look inward, with a hole in the ceiling for the sun. Panels: four walls, then
    the ceiling's four strips; the floor's extent is (2, 2), the room's height 1.2."""
    height = 1.2
    a, b = rng.uniform(0.3, 2.0 - hole - 0.3, 2)
    corners = np.array([(0, 0), (2, 0), (2, 2), (0, 2)], float)
    walls = [
        Panel((*p, 0), (0, 0, height), (*(q - p), 0), cells=(2, 2))
        for p, q in zip(corners, np.roll(corners, -1, axis=0), strict=True)
    ]
    strips = [(0, 0, 2, b), (0, b + hole, 2, 2), (0, b, a, b + hole), (a + hole, b, 2, b + hole)]
    lids = [Panel((x0, y0, height), (0, y1 - y0, 0), (x1 - x0, 0, 0), cells=(2, 2)) for x0, y0, x1, y1 in strips]
    for p in (*walls, *lids):
        assert p.normal @ (np.array([1, 1, 0.6]) - p.centre) > 0
    return Scene([*walls, *lids], [floor]), np.array([a + hole / 2, b + hole / 2, height])


def received(scene, m):
    return sum(p.area_m2 * light.mean(axis=(1, 2)) for p, light in zip(scene.panels, m.reflected, strict=True))


def floor_of(**more):
    return Reflector((0, 0, 0), (2, 0, 0), (0, 2, 0), **more)


@few
@given(seeds, slopes, st.floats(0.1, 1.0), st.floats(0.0, 1.0))
def test_no_more_leaves_a_reflector_than_arrives(seed, pair, reflectance, diffuse):
    """Summed over the room's walls: at most the light on the floor times its reflectance; and no less than the sheet's
    lobe and matt share carry, but for what leaves by the hole."""
    rng = np.random.default_rng(seed)
    scene, middle = room(rng, floor_of(reflectance=reflectance, slope_rms=pair, diffuse=diffuse))
    spot = np.array([*rng.uniform(0.6, 1.4, 2), 0.0])
    s = (middle - spot) / np.linalg.norm(middle - spot)
    elevation, azimuth = np.degrees(np.arcsin(s[2])), np.degrees(np.arctan2(s[0], s[1])) % 360
    arriving = 0.35**2 * s[2]
    got = received(scene, maps(scene, elevation, azimuth))[0]
    assert got <= reflectance * arriving * (1 + DRAWN)
    # The lobe alone: what the facets let out, less those that send light to the hole and its surroundings.
    out, weight = lobe_weights(pair, s[None], facet_normals(pair, fibonacci_lattice(10946)))
    low, high = middle[:2] - 0.35, middle[:2] + 0.35
    with np.errstate(divide="ignore", invalid="ignore"):
        lands = spot[:2] + 1.2 * out[:, :2] / out[:, 2:]
    near = ((lands > low - 0.2) & (lands < high + 0.2)).all(axis=1)
    sure = reflectance * (1 - diffuse) * (weight * ~near).mean() / s[2]
    matt = reflectance * diffuse * (1 - 0.35**2 / (np.pi * 1.2**2))
    assert got >= (sure + matt) * arriving * (1 - 2 * DRAWN)


@some
@given(seeds, st.floats(0.1, 1.0))
def test_a_plane_mirror_loses_nothing_else(seed, reflectance):
    """With a plane mirror for floor the walls take exactly reflectance × arriving where the beam misses the hole."""
    rng = np.random.default_rng(seed)
    scene, middle = room(rng, floor_of(reflectance=reflectance))
    aside = rng.uniform(0, 2 * np.pi)
    s = np.array([np.cos(aside), np.sin(aside), 1.2 / 0.6])
    s /= np.linalg.norm(s)
    spot = middle - 1.2 / s[2] * s
    if not ((spot[:2] > 0.2) & (spot[:2] < 1.8)).all():
        return  # the beam would fall on a wall
    elevation, azimuth = np.degrees(np.arcsin(s[2])), np.degrees(np.arctan2(s[0], s[1])) % 360
    got = received(scene, maps(scene, elevation, azimuth))[0]
    assert got == pytest.approx(reflectance * 0.35**2 * s[2], rel=0.02)


@few
@given(seeds, slopes, st.floats(0.0, 1.0))
def test_bounces_only_add_and_never_beyond_the_bound(seed, pair, diffuse):
    """Two sheets before two panels: more bounces, more light; in all at most what meets the sheets."""
    rng = np.random.default_rng(seed)
    panels = [piece(rng, Panel, 0.3, cells=(2, 2)) for _ in range(2)]
    sheets = [toward(rng, p, Reflector, reflectance=0.95, slope_rms=pair, diffuse=diffuse) for p in panels]
    scene, (elevation, azimuth) = Scene(panels, sheets), suns(rng, 3)
    once, twice = (received(scene, maps(scene, elevation, azimuth, bounces=b)) for b in (1, 2))
    most = 0.95 * sum(r.area_m2 * np.maximum(0, unit_vector(elevation, azimuth) @ r.normal) for r in sheets)
    assert (once <= most * (1 + DRAWN) + 1e-6).all()
    assert (twice >= once * (1 - DRAWN) - 2e-3).all()
    assert (twice <= most * (1 + DRAWN) + 2e-3).all()


# One reflector ------------------------------------------------------------------------------------------------------


def scene_with(rng, **more):
    panel = piece(rng, Panel, 0.5, cells=(3, 2), bifacial=True)
    sheet = toward(rng, panel, Reflector, **more)
    return panel, sheet, [piece(rng, Blocker) for _ in range(2)]


def with_sheet(panel, sheet, blockers, **more):
    changed = {"reflectance": sheet.reflectance, "slope_rms": sheet.slope_rms, "diffuse": sheet.diffuse} | more
    return Scene([panel], [Reflector(sheet.corner, sheet.along, sheet.up, **changed)], blockers=blockers)


@some
@given(seeds, slopes, st.floats(0.0, 1.0))
def test_black_reflector_is_a_blocker(seed, pair, diffuse):
    """Straight, reflected, rear and sky light: the same to the last bit as with an opaque sheet in its place."""
    rng = np.random.default_rng(seed)
    panel, sheet, blockers = scene_with(rng, reflectance=0.0, slope_rms=pair, diffuse=diffuse)
    opaque = Blocker(sheet.corner, sheet.along, sheet.up)
    elevation, azimuth = suns(rng)
    black = maps(Scene([panel], [sheet], blockers=blockers), elevation, azimuth, dome=True)
    solid = maps(Scene([panel], blockers=[opaque, *blockers]), elevation, azimuth, dome=True)
    assert (black.direct[0] == solid.direct[0]).all()
    assert (black.reflected[0] == 0).all()
    assert (black.rear[0] == solid.rear[0]).all()
    assert black.dome[0] == pytest.approx(solid.dome[0], abs=1e-6)


@some
@given(seeds, slopes, st.floats(0.0, 1.0), st.floats(0.05, 1.0))
def test_reflected_light_is_in_proportion_to_reflectance(seed, pair, diffuse, share):
    rng = np.random.default_rng(seed)
    kept = scene_with(rng, reflectance=1.0, slope_rms=pair, diffuse=diffuse)
    elevation, azimuth = suns(rng, 3)
    full = maps(with_sheet(*kept), elevation, azimuth)
    part = maps(with_sheet(*kept, reflectance=share), elevation, azimuth)
    assert part.reflected[0] == pytest.approx(share * full.reflected[0], rel=EXACT, abs=1e-6)
    assert (part.direct[0] == full.direct[0]).all()


@some
@given(seeds, slopes)
def test_diffuse_share_mixes_lobe_and_matt_light(seed, pair):
    rng = np.random.default_rng(seed)
    kept = scene_with(rng, reflectance=0.9, slope_rms=pair)
    elevation, azimuth = suns(rng, 3)
    lobe, mixed, matt = (maps(with_sheet(*kept, diffuse=d), elevation, azimuth).reflected[0] for d in (0.0, 0.3, 1.0))
    assert mixed == pytest.approx(0.7 * lobe + 0.3 * matt, rel=EXACT, abs=1e-6)


@some
@given(seeds)
def test_slopes_toward_zero_tend_to_the_mirror(seed):
    """Panel means at 1°, 0.3°, 0.1°, 0.03°, 0.01° close in on the plane mirror's, without a jump."""
    rng = np.random.default_rng(seed)
    panel, sheet, blockers = scene_with(rng, reflectance=1.0)
    # A sun that the mirror sends to the panel.
    look = panel.centre - sheet.centre
    look /= np.linalg.norm(look)
    s = 2 * (look @ sheet.normal) * sheet.normal - look
    elevation, azimuth = np.degrees(np.arcsin(s[2])), np.degrees(np.arctan2(s[0], s[1])) % 360
    mirror = maps(with_sheet(panel, sheet, blockers), elevation, azimuth).reflected[0].mean()
    off = [
        maps(with_sheet(panel, sheet, blockers, slope_rms=(k, k)), elevation, azimuth).reflected[0].mean() - mirror
        for k in (1.0, 0.3, 0.1, 0.03, 0.01)
    ]
    # An edge of the lit part is washed out by twice the slope times the distance, at most 2 m away and 4 m long.
    bound = [4 * 4 * np.radians(k) / panel.area_m2 + 0.005 for k in (1.0, 0.3, 0.1, 0.03, 0.01)]
    assert (np.abs(off) <= bound).all()


# Reciprocity --------------------------------------------------------------------------------------------------------


def sky_both_ways(scene, n=2584):
    """An even sky of 1 on the first panel, straight and by way of sheets: by its dome column, and by the mean of beams
    from all over the sky (an even sky of 1 is a beam of dω/π from each direction)."""
    net, dark = Net(6, 6, grid_lattice(1, 1)), Ground(0.0, height=-9.0)
    scene = Scene(scene.panels, scene.reflectors, scene.diffusers, scene.blockers, dark)
    sun = cosine_hemisphere(fibonacci_lattice(n))
    # Evenly over the upper hemisphere: cosine-weighted directions moved to equal areas, z² → z.
    z = sun[:, 2] ** 2
    flat = sun[:, :2] / np.linalg.norm(sun[:, :2], axis=1, keepdims=True)
    sun = np.column_stack([flat * np.sqrt(1 - z**2)[:, None], z])
    parts = SkyParts(sun, dome_rays=6765, down_rays=987, ring_rays=0, ground_rays=0, draws=8)
    out = (
        light_coefficients(
            engine_of(scene, transmission_ratio), parts, Rectangles.of(scene.panels[:1]), net, np.ones_like
        )
        .before[:, 0]
        .mean(axis=1)
    )
    return 2.0 * out[:n].mean(), float(out[2 * n])


@few
@given(seeds, slopes, st.sampled_from([0.0, 0.4, 1.0]))
def test_sky_by_a_reflector_read_from_both_ends(seed, pair, diffuse):
    """Beams scattered toward the panel and looks from the panel scattered toward the sky are the same light."""
    rng = np.random.default_rng(seed)
    panel, sheet, blockers = scene_with(rng, reflectance=1.0, slope_rms=pair, diffuse=diffuse)
    by_beams, by_looks = sky_both_ways(Scene([panel], [sheet], blockers=blockers))
    assert by_looks == pytest.approx(by_beams, abs=0.006)


@pytest.mark.parametrize(
    ("spread", "bound"),
    [((0.0, 0.0), 0.003), ((5.0, 5.0), 0.003), ((15.0, 15.0), 0.003), ((10.0, 2.0), 0.01), ((25.0, 5.0), 0.04)],
)
def test_sky_by_a_diffuser_read_from_both_ends(spread, bound):
    """A cover just over a panel and a sheet upright beside it. The readings agree where the spreads are equal; where
    they differ, a turn about a slanting ray has no exact reverse."""
    panel = Panel((0, 0, 0), (1, 0, 0), (0, 1, 0), cells=(2, 2))
    cover = Diffuser((-0.5, -0.5, 0.2), (2, 0, 0), (0, 2, 0), spread_rms=spread)
    beside = Diffuser((-1, 1.1, 0), (3, 0, 0), (0, 0, 1.5), spread_rms=spread)
    for name, sheet in (("cover", cover), ("beside", beside)):
        beams, looks = sky_both_ways(Scene([panel], diffusers=[sheet]))
        print(f"\n{name}, spread {spread}: by beams {beams:.4f}, by looks {looks:.4f}, {looks - beams:+.4f}")
        assert looks == pytest.approx(beams, abs=bound)


# Diffusers ----------------------------------------------------------------------------------------------------------


@some
@given(seeds, st.tuples(st.floats(0, 30), st.floats(0, 30)), st.floats(0.0, 1.0), st.floats(0.05, 1.0))
def test_no_more_passes_a_diffuser_than_arrives(seed, spread, diffuse, transmittance):
    """Summed over panels on either side: at most transmittance × glass × light on the diffuser."""
    rng = np.random.default_rng(seed)
    sheet = piece(rng, Diffuser, 0.2, transmittance=transmittance, spread_rms=spread, diffuse=diffuse)
    panels = [piece(rng, Panel, 1.2, cells=(2, 2), bifacial=True) for _ in range(3)]
    elevation, azimuth = suns(rng)
    m = maps(Scene(panels, diffusers=[sheet]), elevation, azimuth)
    cosine = np.abs(unit_vector(elevation, azimuth) @ sheet.normal)
    most = transmittance * transmission_ratio(cosine) * cosine * sheet.area_m2
    alone = maps(Scene(panels, blockers=[Blocker(sheet.corner, sheet.along, sheet.up)]), elevation, azimuth)
    behind = [r - d for r, d in zip(m.rear, alone.rear, strict=True)]
    got = sum(p.area_m2 * (f + r).mean(axis=(1, 2)) for p, f, r in zip(panels, m.reflected, behind, strict=True))
    assert (got <= most * (1 + DRAWN) + 1e-3).all()
    assert (got >= -1e-6).all()


@some
@given(seeds, st.floats(0.0, 1.0))
def test_spread_of_zero_is_plain_attenuation(seed, transmittance):
    """Where the diffuser stands in the beam, light is transmittance × glass of what it would be, cell by cell; where it
    does not, nothing changes."""
    rng = np.random.default_rng(seed)
    panel, blockers = piece(rng, Panel, 0.5, cells=(3, 2)), [piece(rng, Blocker) for _ in range(2)]
    sheet = toward(rng, panel, Diffuser, transmittance=transmittance)
    elevation, azimuth = suns(rng, 8)
    m = maps(Scene([panel], diffusers=[sheet], blockers=blockers), elevation, azimuth)
    free = maps(Scene([panel], blockers=blockers), elevation, azimuth).direct[0]
    opaque = Blocker(sheet.corner, sheet.along, sheet.up)
    shaded = maps(Scene([panel], blockers=[opaque, *blockers]), elevation, azimuth).direct[0]
    passed = transmittance * transmission_ratio(np.abs(unit_vector(elevation, azimuth) @ sheet.normal))
    assert m.direct[0] == pytest.approx(shaded, abs=1e-6)
    assert m.reflected[0] == pytest.approx(passed[:, None, None] * (free - shaded), abs=4e-3)


@some
@given(seeds)
def test_spreads_toward_zero_tend_to_the_plain_sheet(seed):
    rng = np.random.default_rng(seed)
    panel = piece(rng, Panel, 0.3, cells=(2, 2))
    sheet = toward(rng, panel, Diffuser)
    s = sheet.centre - panel.centre
    elevation, azimuth = np.degrees(np.arcsin(s[2] / np.linalg.norm(s))), np.degrees(np.arctan2(s[0], s[1])) % 360
    found = []
    for k in (0.0, 1.0, 0.1, 0.01):
        spread = Diffuser(sheet.corner, sheet.along, sheet.up, spread_rms=(k, k))
        found.append(maps(Scene([panel], diffusers=[spread]), elevation, azimuth).reflected[0].mean())
    assert found[1] == pytest.approx(found[0], abs=8 * np.radians(1.0) / panel.area_m2 + 0.005)
    assert found[3] == pytest.approx(found[0], abs=0.006)


@few
@given(seeds, st.tuples(st.floats(0, 20), st.floats(0, 20)))
def test_turning_a_diffuser_over_changes_nothing(seed, spread):
    """Light passes from either side alike."""
    rng = np.random.default_rng(seed)
    panel = piece(rng, Panel, 0.3, cells=(2, 2))
    sheet = toward(rng, panel, Diffuser, spread_rms=spread, diffuse=0.3)
    over = Diffuser(sheet.corner + sheet.along, -sheet.along, sheet.up, spread_rms=spread, diffuse=0.3)
    elevation, azimuth = suns(rng, 4)
    one, other = (maps(Scene([panel], diffusers=[d]), elevation, azimuth).reflected[0] for d in (sheet, over))
    assert other.mean(axis=(1, 2)) == pytest.approx(one.mean(axis=(1, 2)), abs=4e-3)
