"""Labels that depend on the tooth: what is lingual below is palatal above."""

from functools import lru_cache

from rules.numbering import arch, is_anterior
from rules.terms import Arch, OcclusalSurface, Site, Wall, label

__all__ = ["site_label", "surface_label", "wall_label"]


def _(text: str) -> str:
    return text


_PALATAL = {
    Site.LINGUAL_CUSPS: _("palatal cusps"),
    Site.MESIOLINGUAL_CUSP: _("mesiopalatal cusp"),
    Site.DISTOLINGUAL_CUSP: _("distopalatal cusp"),
    Site.LINGUAL_SURFACE: _("palatal surface"),
    Site.LINGUAL_WALL: _("palatal wall"),
}


@lru_cache(maxsize=2048)
def site_label(site: Site, tooth: str) -> str:
    """Return the label (a message id) of a site; lingual is palatal above."""
    if arch(tooth) is Arch.UPPER and site in _PALATAL:
        return _PALATAL[site]
    return label(site)


def wall_label(wall: Wall, tooth: str) -> str:
    """Return the label (a message id) of an axial wall; lingual is palatal above."""
    return site_label(Site(f"{wall.value}_wall"), tooth)


def surface_label(surface: OcclusalSurface, tooth: str) -> str:
    """Return the label (a message id) of an occlusal surface.

    Incisors and canines have none: there it is the lingual surface that shows metal
    or ceramic, the palatal one above.
    """
    if not is_anterior(tooth):
        return label(surface)
    return _ANTERIOR[surface, arch(tooth)]


_ANTERIOR = {
    (OcclusalSurface.CERAMIC, Arch.UPPER): _("ceramic palatal surface"),
    (OcclusalSurface.CERAMIC, Arch.LOWER): _("ceramic lingual surface"),
    (OcclusalSurface.METAL, Arch.UPPER): _("metal palatal surface"),
    (OcclusalSurface.METAL, Arch.LOWER): _("metal lingual surface"),
    (OcclusalSurface.MONOLITHIC, Arch.UPPER): _(
        "monolithic palatal surface, facial layering only"
    ),
    (OcclusalSurface.MONOLITHIC, Arch.LOWER): _(
        "monolithic lingual surface, facial layering only"
    ),
}
