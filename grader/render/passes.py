"""What one camera ray brings home, in three passes: diffuse light, the surface, its gloss.

Light changes slowly and is noisy, surfaces are sharp and known exactly: so light is traced on a
coarse grid with many paths, the surface on the full grid with few rays.
"""

from __future__ import annotations

from typing import Any

# Whole numbers added to u tell the surfaces apart; textures repeat, so they see no difference.
SKIN_U, CARD_U, BACKDROP_U = 64, 256, 32
# Numbers of what is no skin: a card, the table, the backdrop, nothing.
CARD_OWNER, TABLE_OWNER, BACKDROP_OWNER, NO_OWNER = 20.0, 30.0, 31.0, 40.0
# Paths longer than this change a picture of a pot on a table by less than its noise.
_DEPTH = 4
# Light: diffuse light, then these: reflectance, normal, number of the surface and its square.
LIGHT_CHANNELS = ("ar", "ag", "ab", "nx", "ny", "nz", "owner", "owner2")
# Surface: three channels of nothing, then for the piece and for all else sums over its share.
SURFACE_CHANNELS = tuple(
    f"{side}_{name}"
    for side in ("piece", "rest")
    for name in ("share", "ar", "ag", "ab", "nx", "ny", "nz", "owner")
)


def light_integrator(mi: Any, relief: list[Any], brightest: float) -> Any:
    """Build the integrator of diffuse light.

    Parameters
    ----------
    mi : module
        mitsuba, its variant set.
    relief : list of Texture
        Relief of each skin in mm.
    brightest : float
        Radiance at which one path is cut.

    Returns
    -------
    Integrator
        Renders diffuse light, then `LIGHT_CHANNELS`.
    """
    import drjit as dr

    inner = _path(mi, _DEPTH)

    class Light(mi.SamplingIntegrator):  # type: ignore[misc]
        def sample(
            self, scene: Any, sampler: Any, ray: Any, medium: Any = None, active: Any = True
        ) -> Any:
            light, valid, _ = inner.sample(scene, sampler, ray, medium, active)
            seen = scene.ray_intersect(mi.Ray3f(ray), active)
            albedo, normal, owner, _ = _surface(dr, mi, seen, active & seen.is_valid(), relief)
            return dr.minimum(light, brightest), valid, [*albedo, *normal, owner, owner * owner]

        def aov_names(self) -> list[str]:
            return list(LIGHT_CHANNELS)

    return Light(mi.Properties())


def surface_integrator(mi: Any, relief: list[Any]) -> Any:
    """Build the integrator of what the surface is: rays that end where they first hit.

    Returns
    -------
    Integrator
        Renders black, then `SURFACE_CHANNELS`.
    """
    import drjit as dr

    class Surface(mi.SamplingIntegrator):  # type: ignore[misc]
        def sample(
            self, scene: Any, sampler: Any, ray: Any, medium: Any = None, active: Any = True
        ) -> Any:
            seen = scene.ray_intersect(mi.Ray3f(ray), active)
            hit = active & seen.is_valid()
            albedo, normal, owner, mine = _surface(dr, mi, seen, hit, relief)
            on_piece = mi.Bool(False)
            for here in mine:
                on_piece |= here
            out = [mi.Float(1.0), *albedo, *normal, owner]
            parts = [dr.select(on_piece, v, 0.0) for v in out]
            parts += [dr.select(on_piece, 0.0, v) for v in out]
            return mi.Color3f(0.0), hit, parts

        def aov_names(self) -> list[str]:
            return list(SURFACE_CHANNELS)

    return Surface(mi.Properties())


def gloss_integrator(mi: Any, gloss: list[Any], brightest: float) -> Any:
    """Build the integrator of what the glaze mirrors.

    It is sampled both by the lamps and by the glaze (multiple importance sampling), which leaves
    few wild paths.

    Parameters
    ----------
    mi : module
    gloss : list of BSDF or None
        What each skin mirrors; None for bare clay.
    brightest : float
        Radiance at which one path is cut.

    Returns
    -------
    Integrator
    """
    import drjit as dr

    inner = _path(mi, _DEPTH - 2)

    class Gloss(mi.SamplingIntegrator):  # type: ignore[misc]
        def sample(
            self, scene: Any, sampler: Any, ray: Any, medium: Any = None, active: Any = True
        ) -> Any:
            seen = scene.ray_intersect(mi.Ray3f(ray), active)
            hit = active & seen.is_valid()
            shine = mi.Color3f(0.0)
            for k, bsdf in enumerate(gloss):
                if bsdf is not None:
                    here = hit & _is_skin(seen.uv.x, k)
                    shine += dr.select(here, self._gloss(scene, sampler, seen, bsdf, here), 0.0)
            return dr.minimum(shine, brightest), hit, []

        def _gloss(self, scene: Any, sampler: Any, si: Any, bsdf: Any, active: Any) -> Any:
            ctx = mi.BSDFContext()
            ds, weight = scene.sample_emitter_direction(si, sampler.next_2d(active), True, active)
            lit = active & (ds.pdf > 0.0)
            value, pdf = bsdf.eval_pdf(ctx, si, si.to_local(ds.d), lit)
            total = dr.select(lit, value * weight * _balance(dr, ds.pdf, pdf), 0.0)

            sample, value = bsdf.sample(
                ctx, si, sampler.next_1d(active), sampler.next_2d(active), active
            )
            goes = active & (sample.pdf > 0.0)
            ray = si.spawn_ray(si.to_world(sample.wo))
            far = scene.ray_intersect(ray, goes)
            lamp = far.emitter(scene, goes)
            is_lamp = goes & (lamp != None)  # noqa: E711
            pdf = scene.pdf_emitter_direction(si, mi.DirectionSample3f(scene, far, si), is_lamp)
            own = lamp.eval(far, is_lamp) * _balance(dr, sample.pdf, pdf)
            total += dr.select(is_lamp, value * own, 0.0)
            thing = goes & ~is_lamp & far.is_valid()
            beyond, _, _ = inner.sample(scene, sampler, mi.RayDifferential3f(ray), None, thing)
            return total + dr.select(thing, value * beyond, 0.0)

    return Gloss(mi.Properties())


def _is_skin(u: Any, k: int) -> Any:
    first = SKIN_U + 2 * k
    return (u > first - 0.5) & (u < first + 1.5)


def _path(mi: Any, depth: int) -> Any:
    return mi.load_dict({"type": "path", "max_depth": depth, "rr_depth": depth + 1})


def _surface(
    dr: Any, mi: Any, si: Any, hit: Any, relief: list[Any]
) -> tuple[Any, Any, Any, list[Any]]:
    """Reflectance, normal with its relief, number of the surface, and which skin it is."""
    albedo = dr.select(hit, si.bsdf().eval_diffuse_reflectance(si, hit), 1.0)
    normal = mi.Normal3f(si.sh_frame.n)
    u = si.uv.x
    owner = dr.select(u > BACKDROP_U - 0.5, BACKDROP_OWNER, TABLE_OWNER)
    owner = dr.select(u > CARD_U - 0.5, CARD_OWNER, owner)
    skins = []
    for k, texture in enumerate(relief):
        mine = hit & _is_skin(u, k)
        owner = dr.select(mine, float(k), owner)
        normal = dr.select(mine, _bumped(dr, mi, si, texture.eval_1_grad(si, mine)), normal)
        skins.append(mine)
    return albedo, normal, dr.select(hit, owner, NO_OWNER), skins


def _balance(dr: Any, a: Any, b: Any) -> Any:
    """Power heuristic of multiple importance sampling (Veach 1997)."""
    a2, b2 = a * a, b * b
    return dr.select(a2 + b2 > 0.0, a2 / (a2 + b2), 0.0)


def _bumped(dr: Any, mi: Any, si: Any, slope: Any) -> Any:
    """Normal of the relief, by the same formula as the renderer's bump map."""
    n = si.sh_frame.n
    du = dr.fma(n, slope.x - dr.dot(n, si.dp_du), si.dp_du)
    dv = dr.fma(n, slope.y - dr.dot(n, si.dp_dv), si.dp_dv)
    out = dr.normalize(dr.cross(du, dv))
    # The surface has two sides; light comes to the one that is seen.
    out = dr.select(dr.dot(out, si.to_world(si.wi)) < 0.0, -out, out)
    return mi.Normal3f(out)
