# mypy: disable-error-code="no-untyped-def"
"""The photon loop, compiled. One call follows a run of photons through one body.

Weights fall along the path by exp(-mu_a L); scattering alone decides the path, so bands with equal
scattering share it. Random numbers are SplitMix64 (Steele, Lea & Flood, OOPSLA 2014) started
from the seed, the light and the photon's own number: the same photon always walks the same
way, whoever carries it.

The functions run as plain Python too (`.py_func`), slowly, for tests. Types are the compiler's
to find: arrays of float and int as in `packing`, else plain floats and ints.
"""

from __future__ import annotations

import math

import numpy as np
from numba import uint64

from glowsim.transport.reference.compiled import compiled, inlined
from glowsim.transport.reference.exponential import HEIGHT, LAST, QUICK, WIDTH

SCATTERS, AIR, OPAQUE = 0, 1, 2

_GOLDEN = np.uint64(0x9E3779B97F4A7C15)
_MIX_1 = np.uint64(0xBF58476D1CE4E5B9)
_MIX_2 = np.uint64(0x94D049BB133111EB)
_LOW_32 = np.uint64(0xFFFFFFFF)
_LOW_8 = np.uint64(0xFF)
_TO_UNIT = 1.0 / 9007199254740992.0
_TO_SIGNED = 1.0 / 2147483648.0

CHECK_EVERY = 32
"""Scatterings between two looks at the weight."""
ROULETTE_BELOW = 1e-3
"""Below this weight a photon plays for its life."""
SURVIVES = 0.1
EDGE = 1e-9
"""Triangles are widened by this share of their edges, so that no ray slips between two."""
LONG = 0.75
"""A flight of more cells than this follows the grid; a shorter one stays about its cell."""
BENDS = 0.2
"""A wall may bend away from its ball by a tenth of what makes a jump worth its time at this share
of the square of the distance (its sagitta is d^2 / 2 R)."""
FAR = 1e30
MOST_FACETS = 100
"""Facets of a rough face that light meets in a row, after which it leaves any way."""
CIRCLING = 0.5
"""Below this weight light that has been mirrored many times plays for its life: in clear material
it goes on for tens of metres."""
MOST_MIRRORED = 10_000
"""Reflections in a row after which light is taken to circle for ever in clear material..."""
ABSORBS = 1e-6
"""... and twenty times as many where every band of it is absorbed by more than this [1/mm]."""

SCATTERINGS, SEARCHES, LOSSES, JUMPS, TRAPPED = 0, 1, 2, 3, 4
"""Places in `tally.events`."""


@inlined
def scrambled(z):
    """Scramble the 64 bits of a counter: the finalizer of SplitMix64."""
    z = (z ^ (z >> uint64(30))) * _MIX_1
    z = (z ^ (z >> uint64(27))) * _MIX_2
    return z ^ (z >> uint64(31))


@inlined
def uniform(state):
    """Advance the stream; return the new state and a number above 0 and below 1."""
    state = state + _GOLDEN
    return state, (float(scrambled(state) >> uint64(11)) + 0.5) * _TO_UNIT


@inlined
def on_disc(state):
    """Return a point drawn evenly over the unit disc, and the square of its radius."""
    while True:
        state = state + _GOLDEN
        bits = scrambled(state)
        a = (float(bits & _LOW_32) + 0.5) * _TO_SIGNED - 1.0
        b = (float(bits >> uint64(32)) + 0.5) * _TO_SIGNED - 1.0
        s = a * a + b * b
        if s < 1.0:
            return state, a, b, s


@compiled
def first_state(seed, light, photon):
    """Return the start of a photon's own stream."""
    state = scrambled(uint64(seed) * _GOLDEN + uint64(0x5851F42D4C957F2D))
    state = scrambled(state ^ (uint64(light) * _MIX_1 + uint64(1)))
    return scrambled(state ^ (uint64(photon) * _MIX_2 + uint64(7)))


@compiled
def _slow_exponential(state, layer, x):
    """Decide the rare cases of `exponential`: in the tail, or between a layer and the curve."""
    state, u = uniform(state)
    if layer == 0:
        return state, True, LAST - math.log(u)
    return state, HEIGHT[layer + 1] + u * (HEIGHT[layer] - HEIGHT[layer + 1]) < math.exp(-x), x


@inlined
def exponential(state):
    """Return an optical depth drawn from exp(-x) by layers (Marsaglia & Tsang, J. Stat. Softw. 5
    (2000)): exact, and quicker than a logarithm."""
    while True:
        state = state + _GOLDEN
        bits = scrambled(state)
        layer = int(bits & _LOW_8)
        x = (float(bits >> uint64(11)) + 0.5) * _TO_UNIT * WIDTH[layer]
        if x < QUICK[layer]:
            return state, x
        state, kept, x = _slow_exponential(state, layer, x)
        if kept:
            return state, x


@inlined
def isotropic(state):
    """Return a direction drawn evenly over the sphere (Marsaglia, Ann. Math. Stat. 43, 1972)."""
    state, a, b, s = on_disc(state)
    root = 2.0 * math.sqrt(1.0 - s)
    return state, a * root, b * root, 1.0 - 2.0 * s


@inlined
def turned(state, cos, x, y, z):
    """Return the direction at an angle of given cosine to (x, y, z), turned about it at random.

    Its length drifts by a rounding error each time; `follow` puts that right now and then.
    """
    state, a, b, s = on_disc(state)
    sin = math.sqrt(max(0.0, 1.0 - cos * cos) / s)
    a, b = a * sin, b * sin
    sign = 1.0 if z >= 0.0 else -1.0
    p = -1.0 / (sign + z)
    q = x * y * p
    nx = a * (1.0 + sign * x * x * p) + b * q + cos * x
    ny = a * sign * q + b * (sign + y * y * p) + cos * y
    nz = -a * sign * x - b * y + cos * z
    return state, nx, ny, nz


@inlined
def henyey_greenstein_cosine(state, g):
    """Return the cosine of one scattering (Henyey & Greenstein, ApJ 93, 70 (1941))."""
    state, u = uniform(state)
    s = 2.0 * u - 1.0
    top = 0.5 * g * (3.0 - g * g) + (1.0 + g * g) * (s + 0.5 * g * s * s)
    bottom = 1.0 + g * s
    return state, min(1.0, max(-1.0, top / (bottom * bottom)))


@inlined
def lambertian(state, nx, ny, nz):
    """Return a direction spread about a unit normal as diffuse light is."""
    state, u = uniform(state)
    return turned(state, math.sqrt(u), nx, ny, nz)


@inlined
def of_length_one(x, y, z):
    """Return a direction brought back to length 1."""
    norm = 1.0 / math.sqrt(x * x + y * y + z * z)
    return x * norm, y * norm, z * norm


@inlined
def fresnel(cos, n_from, n_to):
    """Return the reflectance for unpolarised light, and the cosine behind the face."""
    ratio = n_from / n_to
    sin2 = ratio * ratio * (1.0 - cos * cos)
    if sin2 >= 1.0:
        return 1.0, 0.0
    cos_to = math.sqrt(1.0 - sin2)
    a = (n_from * cos - n_to * cos_to) / (n_from * cos + n_to * cos_to)
    b = (n_to * cos - n_from * cos_to) / (n_to * cos + n_from * cos_to)
    return 0.5 * (a * a + b * b), cos_to


@compiled
def facet(state, rough, wx, wy, wz, nx, ny, nz):
    """Return the normal of a facet of a rough face, as light from direction w meets facets.

    w points to where the light comes from, n is the face's normal on that side. Facets lie as
    Trowbridge and Reitz have it (Walter et al., Microfacet models for refraction through rough
    surfaces, EGSR 2007), drawn by what is seen of them from w (Dupuy & Benyoub, Sampling visible
    normals with spherical caps, 2023; both from memory); w may also come from below n.
    """
    up = wx * nx + wy * ny + wz * nz
    sx, sy, sz = of_length_one(
        rough * wx + (1.0 - rough) * up * nx,
        rough * wy + (1.0 - rough) * up * ny,
        rough * wz + (1.0 - rough) * up * nz,
    )
    up = sx * nx + sy * ny + sz * nz
    state, u = uniform(state)
    state, mx, my, mz = turned(state, (1.0 - u) * (1.0 + up) - up, nx, ny, nz)
    mx, my, mz = mx + sx, my + sy, mz + sz
    up = (1.0 - rough) * (mx * nx + my * ny + mz * nz)
    mx, my, mz = of_length_one(rough * mx + up * nx, rough * my + up * ny, rough * mz + up * nz)
    return state, mx, my, mz


@compiled
def through_rough(state, rough, n_from, n_to, dx, dy, dz, nx, ny, nz):
    """Follow light that meets a rough face from facet to facet until it leaves it.

    d : direction of travel;  n : the face's normal, ahead;  rough : of the facets, 0 is smooth.
    Every facet mirrors or refracts by Fresnel. Light gets away from the facets with Smith's
    chance, else it meets another (Heitz et al., Multiple-scattering microfacet BSDFs with the
    Smith model, ACM Trans. Graph. 35 (2016), from memory, here without heights): nothing is lost,
    and light in balance on both sides stays so. Returns the direction, and whether it got through.
    """
    # The side on which the light is, as the normal away from the face.
    ax, ay, az = -nx, -ny, -nz
    here, there = n_from, n_to
    beyond = False
    for _ in range(MOST_FACETS):
        state, mx, my, mz = facet(state, rough, -dx, -dy, -dz, ax, ay, az)
        cos = max(0.0, -(dx * mx + dy * my + dz * mz))
        reflects, cos_to = fresnel(cos, here, there)
        state, u = uniform(state)
        if u < reflects:
            dx, dy, dz = dx + 2.0 * cos * mx, dy + 2.0 * cos * my, dz + 2.0 * cos * mz
        else:
            ratio = here / there
            turn = ratio * cos - cos_to
            dx, dy, dz = ratio * dx + turn * mx, ratio * dy + turn * my, ratio * dz + turn * mz
            here, there = there, here
            ax, ay, az = -ax, -ay, -az
            beyond = not beyond
        dx, dy, dz = of_length_one(dx, dy, dz)
        away = dx * ax + dy * ay + dz * az
        if away > 0.0:
            state, u = uniform(state)
            tilted = math.sqrt(away * away + rough * rough * (1.0 - away * away))
            if u * (away + tilted) < 2.0 * away:
                return state, dx, dy, dz, beyond
    state, dx, dy, dz = lambertian(state, ax, ay, az)
    dx, dy, dz = of_length_one(dx, dy, dz)
    return state, dx, dy, dz, beyond


@inlined
def passed(table, t, cos):
    """Return L, a, b, c of `passage` for light that leaves a ball at an angle to its start."""
    length = math.sqrt(max(0.0, 1.0 + t * t - 2.0 * t * cos))
    last = len(table) - 1
    row = t * last
    column = (length - 1.0 + t) / max(2.0 * t, 1e-9) * last
    i = min(int(row), last - 1)
    k = min(max(int(column), 0), last - 1)
    row, column = row - i, column - k
    one, other = table[i], table[i + 1]
    p, q, r, s = (
        (1.0 - row) * (1.0 - column),
        (1.0 - row) * column,
        row * (1.0 - column),
        row * column,
    )
    return (
        length,
        p * one[k, 0] + q * one[k + 1, 0] + r * other[k, 0] + s * other[k + 1, 0],
        p * one[k, 1] + q * one[k + 1, 1] + r * other[k, 1] + s * other[k + 1, 1],
        p * one[k, 2] + q * one[k + 1, 2] + r * other[k, 2] + s * other[k + 1, 2],
    )


@inlined
def cell_of(grid, inverse, x, y, z):
    """Return the grid indices of a point, -1 in the first place outside the grid."""
    i = math.floor((x - grid.low[0]) * inverse)
    j = math.floor((y - grid.low[1]) * inverse)
    k = math.floor((z - grid.low[2]) * inverse)
    inside = 0 <= i < grid.counts[0] and 0 <= j < grid.counts[1] and 0 <= k < grid.counts[2]
    return (i, j, k) if inside else (-1, 0, 0)


@inlined
def ball_at(grid, inverse, x, y, z):
    """Return a point seen from the middle of the ball that its cell names, and the radius."""
    i, j, k = cell_of(grid, inverse, x, y, z)
    ball = grid.balls[grid.ball[(i * grid.counts[1] + j) * grid.counts[2] + k] if i >= 0 else 0]
    x, y, z = x - grid.low[0] - ball[0], y - grid.low[1] - ball[1], z - grid.low[2] - ball[2]
    return x, y, z, ball[3]


@inlined
def met(walls, face, x, y, z, dx, dy, dz, best, region, skip):
    """Return how far away a flight through `region` meets a face, or `best` if that is nearer."""
    it = walls.geometry[face]
    toward = dx * it[0] + dy * it[1] + dz * it[2]
    t = (it[3] - x * it[0] - y * it[1] - z * it[2]) / toward
    # Leaving along the normal means coming from the region behind the face; below 0 is any.
    seen = it[12 if toward > 0.0 else 13]
    if not -1e-9 < t < best or face == skip or (seen != region and seen >= 0.0):
        return best
    hx, hy, hz = x + t * dx, y + t * dy, z + t * dz
    u = hx * it[4] + hy * it[5] + hz * it[6] - it[7]
    v = hx * it[8] + hy * it[9] + hz * it[10] - it[11]
    if u < -EDGE or v < -EDGE or u + v > 1.0 + EDGE:
        return best
    return max(t, 0.0)


@compiled
def nearest_hit(walls, grid, x, y, z, dx, dy, dz, reach, region, skip):
    """Return the first wall of `region` that a flight of at most `reach` meets, and the distance.

    Walks the grid cell by cell (Amanatides & Woo, Eurographics 1987). `skip` is the face the
    photon stands on. Returns (-1, reach) if there is none, (-2, distance) if the photon leaves the
    grid.
    """
    cell = grid.cell
    counts_0, counts_1, counts_2 = grid.counts[0], grid.counts[1], grid.counts[2]
    i, j, k = cell_of(grid, 1.0 / cell, x, y, z)
    if i < 0:
        return -2, 0.0
    step_i = 1 if dx > 0.0 else -1
    step_j = 1 if dy > 0.0 else -1
    step_k = 1 if dz > 0.0 else -1
    per_i = cell / abs(dx) if dx != 0.0 else FAR
    per_j = cell / abs(dy) if dy != 0.0 else FAR
    per_k = cell / abs(dz) if dz != 0.0 else FAR
    next_i = (grid.low[0] + (i + (step_i > 0)) * cell - x) / dx if dx != 0.0 else FAR
    next_j = (grid.low[1] + (j + (step_j > 0)) * cell - y) / dy if dy != 0.0 else FAR
    next_k = (grid.low[2] + (k + (step_k > 0)) * cell - z) / dz if dz != 0.0 else FAR
    best, found = reach, -1
    while True:
        here = (i * counts_1 + j) * counts_2 + k
        for place in range(grid.start[here], grid.start[here + 1]):
            face = grid.listed[place]
            t = met(walls, face, x, y, z, dx, dy, dz, best, region, skip)
            if t < best:
                best, found = t, face
        leaves = min(next_i, min(next_j, next_k))
        if best <= leaves:
            return found, best
        if next_i == leaves:
            i += step_i
            next_i += per_i
            if i < 0 or i >= counts_0:
                return -2, leaves
        elif next_j == leaves:
            j += step_j
            next_j += per_j
            if j < 0 or j >= counts_1:
                return -2, leaves
        else:
            k += step_k
            next_k += per_k
            if k < 0 or k >= counts_2:
                return -2, leaves


@compiled
def near_walls(walls, grid, x, y, z, dx, dy, dz, reach, region, skip):
    """Look at the walls about the cell of a point, for a flight of at most `reach`.

    Returns (face, distance, clear). The face is the first that the flight meets, or -1 if there is
    none up to the distance, which falls short of `reach` where the flight leaves the cube whose
    walls the cell knows, or -2 outside the grid. No wall of `region` is nearer than `clear`.
    `skip` is the face the photon stands on.
    """
    i, j, k = cell_of(grid, 1.0 / grid.cell, x, y, z)
    if i < 0:
        return -2, 0.0, 0.0
    ox = x - (grid.low[0] + (i + 0.5) * grid.cell)
    oy = y - (grid.low[1] + (j + 0.5) * grid.cell)
    oz = z - (grid.low[2] + (k + 0.5) * grid.cell)
    clear = grid.cell - max(abs(ox), max(abs(oy), abs(oz)))
    best, found = reach, -1
    if dx != 0.0:
        best = min(best, (grid.cell - (ox if dx > 0.0 else -ox)) / abs(dx))
    if dy != 0.0:
        best = min(best, (grid.cell - (oy if dy > 0.0 else -oy)) / abs(dy))
    if dz != 0.0:
        best = min(best, (grid.cell - (oz if dz > 0.0 else -oz)) / abs(dz))
    here = (i * grid.counts[1] + j) * grid.counts[2] + k
    for place in range(grid.about_start[here], grid.about_start[here + 1]):
        face = grid.about[place]
        it = walls.geometry[face]
        if it[12] != region and it[13] != region and it[13] >= 0.0:
            continue
        off = it[3] - x * it[0] - y * it[1] - z * it[2]
        clear = min(clear, abs(off))
        t = met(walls, face, x, y, z, dx, dy, dz, best, region, skip)
        if t < best:
            best, found = t, face
    return found, best, clear


@compiled
def emitted(state, lamp):
    """Return a photon's start: position, direction and region, by the LEDs' shares and beams."""
    state, u = uniform(state)
    led = 0
    while led < len(lamp.running) - 1 and u > lamp.running[led]:
        led += 1
    state, u = uniform(state)
    cos = u ** (1.0 / (lamp.exponent[led] + 1.0))
    ax, ay, az = lamp.direction[led, 0], lamp.direction[led, 1], lamp.direction[led, 2]
    state, dx, dy, dz = turned(state, cos, ax, ay, az)
    place = lamp.position[led]
    return state, place[0], place[1], place[2], dx, dy, dz, lamp.region[led]


@inlined
def least_absorption(media, region):
    """Return what a region absorbs in the band in which it absorbs least [1/mm]."""
    return min(media.mu_a[region, 0], min(media.mu_a[region, 1], media.mu_a[region, 2]))


@inlined
def paid(tally, media, region, length, w):
    """Take what a path of `length` through `region` absorbs out of the weights `w`."""
    if length > 0.0:
        for band in range(3):
            mu_a = media.mu_a[region, band]
            if mu_a > 0.0 and w[band] > 0.0:
                left = w[band] * math.exp(-mu_a * length)
                tally.absorbed[region, band] += w[band] - left
                w[band] = left


@compiled
def gone_out(tally, row, w, dx, dy, dz, direct):
    """Book a photon that leaves through a face of the skin, row `row` of the tally."""
    total = 0.0
    for band in range(3):
        tally.out[row, band] += w[band]
        tally.square[row, band] += w[band] * w[band]
        tally.escaped[band] += w[band]
        if direct:
            tally.direct[row, band] += w[band]
            total += w[band]
    if direct:
        tally.direct_moment[row, 0] += total * dx
        tally.direct_moment[row, 1] += total * dy
        tally.direct_moment[row, 2] += total * dz


@compiled
def russian_roulette(state, tally, w, faint, survives):
    """Play for the life of a photon below a weight; return whether it lives. The account stays
    exact."""
    most = max(w[0], max(w[1], w[2]))
    if most >= faint:
        return state, True
    state, u = uniform(state)
    if most > 0.0 and u < survives:
        for band in range(3):
            tally.roulette[band] += w[band] - w[band] / survives
            w[band] /= survives
        return state, True
    for band in range(3):
        tally.roulette[band] += w[band]
        w[band] = 0.0
    return state, False


@compiled
def at_surface(absorbed, reflectance, w):
    """Absorb at an opaque surface; what is left of the weights goes back diffusely."""
    for band in range(3):
        absorbed[band] += w[band] * (1.0 - reflectance[band])
        w[band] *= reflectance[band]


@compiled
def at_coat(state, tally, coats, coat, w):
    """Decide what a coat does with a photon: 0 goes straight out, 1 out diffusely, 2 back.

    One choice for all bands, by the means over bands; weights make up for the difference.
    """
    p_out, p_back = 0.0, 0.0
    for band in range(3):
        p_out += coats.transmittance[coat, band] / 3.0
        p_back += coats.reflectance[coat, band] / 3.0
        keeps = coats.transmittance[coat, band] + coats.reflectance[coat, band]
        tally.coats[band] += w[band] * (1.0 - keeps)
    total = p_out + p_back
    if total <= 0.0:
        for band in range(3):
            w[band] = 0.0
        return state, 2
    state, u = uniform(state)
    goes_out = u * total < p_out
    chance = (p_out if goes_out else p_back) / total
    for band in range(3):
        passes, returns = coats.transmittance[coat, band], coats.reflectance[coat, band]
        left = w[band] * (passes if goes_out else returns) / chance
        # Chance moves weight between bands; the account carries the difference.
        tally.roulette[band] += w[band] * (passes + returns) - left
        w[band] = left
    if not goes_out:
        return state, 2
    state, u = uniform(state)
    return state, 0 if u * p_out < coats.straight[coat] else 1


@inlined
def jump_room(media, region, radius):
    """Return the square of the distance from the middle of a ball within which a photon may jump,
    -1 if nowhere."""
    size = 1 if radius >= media.large[region] else 0
    room = radius - media.jump_from[region, size]
    return room * room if room > 0.0 else -1.0


@inlined
def jumped(state, media, region, grid, inverse, cx, cy, cz, px, py, pz, radius, share):
    """Take a photon at c + p, in a ball about c, on by jumps; see `jumps` and `passage`.

    Returns the ball it ends in, where in it, and how many jumps it took; `share` is set to what
    is left of the light in each band.
    """
    for band in range(3):
        share[band] = 1.0
    ux, uy, uz = 0.0, 0.0, 1.0
    times = 0
    while True:
        size = 1 if radius >= media.large[region] else 0
        margin = media.margin[region, size]
        worth = media.jump_from[region, size] - margin
        # A ball in the ball, about the photon or touching the rim next to it.
        core = radius - margin
        ball = min(core, media.most[region])
        off = math.sqrt(px * px + py * py + pz * pz)
        if off > 0.0:
            ux, uy, uz = px / off, py / off, pz / off
        aside = min(off, core - ball)
        t = (off - aside) / ball
        state, cos = henyey_greenstein_cosine(state, t)
        far, a, b, c = passed(media.passage, t, cos)
        for band in range(3):
            x = media.decay[region, band] * ball
            x *= x
            share[band] *= 1.0 - far * x * (a - x * (b - x * c))
        state, vx, vy, vz = turned(state, cos, ux, uy, uz)
        px, py, pz = aside * ux + ball * vx, aside * uy + ball * vy, aside * uz + ball * vz
        times += 1
        off_2 = px * px + py * py + pz * pz
        if off_2 <= jump_room(media, region, radius):
            continue
        deep = radius - math.sqrt(off_2)
        far *= ball
        if far * far > BENDS * radius * worth:
            # So far from where it started, another ball may come closer to the wall.
            ox, oy, oz, other = ball_at(grid, inverse, cx + px, cy + py, cz + pz)
            near_2 = ox * ox + oy * oy + oz * oz
            if near_2 <= jump_room(media, region, other):
                cx, cy, cz, radius = cx + px - ox, cy + py - oy, cz + pz - oz, other
                px, py, pz = ox, oy, oz
                continue
            deep = max(deep, other - math.sqrt(near_2))
        # What makes up for the wall grows less with depth: to little where a jump is worth it.
        settle = media.settle[region, size] * max(0.0, 1.0 - (deep - margin) / worth)
        outward = 1.0 + settle / math.sqrt(max(off_2, 1e-30))
        return state, cx, cy, cz, px * outward, py * outward, pz * outward, radius, times


@compiled
def follow(
    first, count, seed, light, active, stop, lamp, media, coats, walls, grid, tally, w, share
):
    """Follow photons number `first` to `first + count` from one lamp until they end.

    active : (3,) float, weight each photon starts with in each band (0 or 1)
    stop   : (1,) int; once it is not 0, no further photon is begun
    tally  : added to
    w, share : (3,) float, room to work in; everything else is only read
    Returns how many photons were followed.
    """
    inverse = 1.0 / grid.cell
    room = len(media.kind) - 1
    scatterings, searches, jumps = 0, 0, 0
    followed = 0
    for photon in range(first, first + count):
        if stop[0] != 0:
            break
        followed += 1
        state = first_state(seed, light, photon)
        # The photon is at c + r. There is no wall within the square root of `clear_2` of c; from
        # within that of `jump_2` it may jump.
        state, cx, cy, cz, dx, dy, dz, region = emitted(state, lamp)
        rx, ry, rz, radius, clear_2, jump_2 = 0.0, 0.0, 0.0, 0.0, 0.0, -1.0
        for band in range(3):
            w[band] = active[band]
        skip, length, events, mirrored = -1, 0.0, 0, 0
        direct = True
        mfp, g = media.mfp[region], media.g[region]
        state, depth = exponential(state)
        while True:
            step = depth * mfp
            tx, ty, tz = rx + step * dx, ry + step * dy, rz + step * dz
            far_2 = tx * tx + ty * ty + tz * tz
            if far_2 >= clear_2:
                px, py, pz = cx + rx, cy + ry, cz + rz
                rx, ry, rz, radius = ball_at(grid, inverse, px, py, pz)
                cx, cy, cz, clear_2 = px - rx, py - ry, pz - rz, radius * radius
                jump_2 = jump_room(media, region, radius)
                tx, ty, tz = rx + step * dx, ry + step * dy, rz + step * dz
                far_2 = tx * tx + ty * ty + tz * tz
                near_2 = rx * rx + ry * ry + rz * rz
                if far_2 >= clear_2 or near_2 >= clear_2:
                    # The flight leaves the ball, or does not start in it.
                    along = rx * dx + ry * dy + rz * dz
                    cut = along * along + clear_2 - near_2
                    root = math.sqrt(max(0.0, cut))
                    if near_2 < clear_2:
                        hop = 0.999 * (root - along)
                        length += hop
                        depth -= hop / mfp
                        step -= hop
                        rx, ry, rz, clear_2 = rx + hop * dx, ry + hop * dy, rz + hop * dz, 0.0
                        skip = -1
                        if hop > 2.0 * grid.cell:
                            continue
                        enters = False
                        short = False
                    else:
                        enters = cut > 0.0 and 0.0 <= -along - root < step
                        short = not enters and step <= LONG * grid.cell
                    cx, cy, cz = cx + rx, cy + ry, cz + rz
                    clear_2 = 0.0
                    if short:
                        face, reach, clear = near_walls(
                            walls, grid, cx, cy, cz, dx, dy, dz, step, region, skip
                        )  # fmt: skip
                        clear_2 = clear * clear
                    else:
                        reach = 1.0001 * (-along - root) + 1e-9 if enters else step
                        face, reach = nearest_hit(
                            walls, grid, cx, cy, cz, dx, dy, dz, reach, region, skip
                        )  # fmt: skip
                    searches += 1
                    if face == -2:
                        for band in range(3):
                            tally.lost[band] += w[band]
                        tally.events[LOSSES] += 1
                        break
                    if enters and face == -1:
                        cx, cy, cz, clear_2 = cx - rx, cy - ry, cz - rz, radius * radius
                        rx, ry, rz = rx + reach * dx, ry + reach * dy, rz + reach * dz
                        length += reach
                        depth -= reach / mfp
                        skip = -1
                        continue
                    rx, ry, rz, jump_2 = 0.0, 0.0, 0.0, -1.0
                    if face >= 0:
                        cx, cy, cz, clear_2 = cx + reach * dx, cy + reach * dy, cz + reach * dz, 0.0
                        length += reach
                        depth -= reach / mfp
                        skip = face
                        it = walls.geometry[face]
                        nx, ny, nz = it[0], it[1], it[2]
                        cos = dx * nx + dy * ny + dz * nz
                        goes = int(it[13 if cos > 0.0 else 12])
                        if cos < 0.0:
                            nx, ny, nz, cos = -nx, -ny, -nz, -cos
                        coat = walls.coat[face]
                        back = False
                        n_from, n_to = media.n[region], media.n[goes]
                        opaque = media.kind[goes] == OPAQUE
                        rough = coats.roughness[coat] if coat >= 0 else 0.0
                        if rough > 0.0 and n_from != n_to and not opaque:
                            paid(tally, media, region, length, w)
                            length = 0.0
                            direct = False
                            state, dx, dy, dz, through = through_rough(
                                state, rough, n_from, n_to, dx, dy, dz, nx, ny, nz
                            )
                            if through:
                                gone_out(tally, walls.row[face], w, dx, dy, dz, False)
                                break
                            state, alive = russian_roulette(
                                state, tally, w, ROULETTE_BELOW, SURVIVES
                            )
                            if not alive:
                                break
                            mirrored = 0
                            continue
                        if n_from != n_to and coat < 0 and not opaque:
                            reflects, cos_to = fresnel(cos, n_from, n_to)
                            state, u = uniform(state)
                            if u < reflects:
                                dx, dy, dz = (
                                    dx - 2.0 * cos * nx, dy - 2.0 * cos * ny, dz - 2.0 * cos * nz
                                )  # fmt: skip
                                mirrored += 1
                                if mirrored >= MOST_MIRRORED and (
                                    mirrored >= 20 * MOST_MIRRORED
                                    or least_absorption(media, region) < ABSORBS
                                ):
                                    for band in range(3):
                                        tally.lost[band] += w[band]
                                    tally.events[TRAPPED] += 1
                                    break
                                if mirrored % CHECK_EVERY == 0:
                                    # Between walls that only mirror, nothing else looks.
                                    paid(tally, media, region, length, w)
                                    length = 0.0
                                    state, alive = russian_roulette(
                                        state, tally, w, CIRCLING, CIRCLING
                                    )
                                    if not alive:
                                        break
                                continue
                            ratio = n_from / n_to
                            turn = cos_to - ratio * cos
                            dx, dy, dz = of_length_one(
                                ratio * dx + turn * nx,
                                ratio * dy + turn * ny,
                                ratio * dz + turn * nz,
                            )
                        paid(tally, media, region, length, w)
                        length = 0.0
                        if opaque:
                            at_surface(tally.absorbed[goes], media.reflectance[goes], w)
                            back = True
                        elif coat >= 0:
                            state, fate = at_coat(state, tally, coats, coat, w)
                            if fate < 2:
                                gone_out(
                                    tally, walls.row[face], w, dx, dy, dz, direct and fate == 0
                                )
                                break
                            back = True
                        if back:
                            direct = False
                            state, alive = russian_roulette(
                                state, tally, w, ROULETTE_BELOW, SURVIVES
                            )
                            if not alive:
                                break
                            state, dx, dy, dz = lambertian(state, -nx, -ny, -nz)
                            dx, dy, dz = of_length_one(dx, dy, dz)
                            mirrored = 0
                            state, depth = exponential(state)
                            continue
                        if goes == room:
                            gone_out(tally, walls.row[face], w, dx, dy, dz, direct)
                            break
                        # The optical depth still to go does not change at a wall.
                        region = goes
                        mfp, g = media.mfp[region], media.g[region]
                        continue
                    if reach < step:
                        cx, cy, cz, clear_2 = cx + reach * dx, cy + reach * dy, cz + reach * dz, 0.0
                        length += reach
                        depth -= reach / mfp
                        continue
                    tx, ty, tz = step * dx, step * dy, step * dz
                    far_2 = step * step
            # Nothing in the way: scatter here.
            rx, ry, rz = tx, ty, tz
            length += step
            events += 1
            if g == 0.0:
                state, dx, dy, dz = isotropic(state)
            else:
                state, cos = henyey_greenstein_cosine(state, g)
                state, dx, dy, dz = turned(state, cos, dx, dy, dz)
            skip, mirrored, direct = -1, 0, False
            if events % CHECK_EVERY == 0:
                dx, dy, dz = of_length_one(dx, dy, dz)
                paid(tally, media, region, length, w)
                length = 0.0
                state, alive = russian_roulette(state, tally, w, ROULETTE_BELOW, SURVIVES)
                if not alive:
                    break
            if jump_2 >= 0.0:
                ahead = media.ahead[region]
                px, py, pz = rx + ahead * dx, ry + ahead * dy, rz + ahead * dz
                if px * px + py * py + pz * pz <= jump_2:
                    state, cx, cy, cz, px, py, pz, radius, times = jumped(
                        state, media, region, grid, inverse, cx, cy, cz, px, py, pz, radius, share
                    )  # fmt: skip
                    jumps += times
                    clear_2, jump_2 = radius * radius, jump_room(media, region, radius)
                    for band in range(3):
                        tally.absorbed[region, band] += w[band] * (1.0 - share[band])
                        w[band] *= share[band]
                    state, dx, dy, dz = isotropic(state)
                    rx, ry, rz = px - ahead * dx, py - ahead * dy, pz - ahead * dz
            state, depth = exponential(state)
        scatterings += events
    tally.events[SCATTERINGS] += scatterings
    tally.events[SEARCHES] += searches
    tally.events[JUMPS] += jumps
    return followed
