"""The words of the rule core: closed lists, their labels, and messages.

Codes are what is stored and exchanged. Labels are English message ids; ``_`` marks
them for extraction and does nothing else, the interface translates.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from enum import StrEnum

__all__ = [
    "Antagonist",
    "Arch",
    "Cementation",
    "Doubt",
    "Kind",
    "Message",
    "Method",
    "OcclusalSurface",
    "Position",
    "Quantity",
    "Referral",
    "Region",
    "Relation",
    "Retention",
    "Role",
    "Side",
    "Site",
    "ToothClass",
    "Verdict",
    "Wall",
    "label",
]


def _(text: str) -> str:
    return text


@dataclass(frozen=True, slots=True)
class Message:
    """An English sentence template with {named} parameters.

    A parameter may be a message itself ("clinic 1.5 mm (mouth)"), so that its parts
    are translated by a template of their own.
    """

    template: str
    params: "Mapping[str, str | Message]" = field(default_factory=dict)

    def text(self, translate: Callable[[str], str] = _) -> str:
        """Return the sentence, translated where a translator is given."""
        words: dict[str, str] = {}
        for name, value in self.params.items():
            if isinstance(value, Message):
                words[name] = value.text(translate)
            else:
                # gettext answers the empty string with its catalogue header.
                words[name] = translate(value) if value else ""
        return translate(self.template).format(**words)


class Arch(StrEnum):
    """Which jaw."""

    UPPER = "upper"
    LOWER = "lower"


class ToothClass(StrEnum):
    """Class of a tooth."""

    INCISOR = "incisor"
    CANINE = "canine"
    PREMOLAR = "premolar"
    MOLAR = "molar"


class Kind(StrEnum):
    """What is made for one tooth."""

    CROWN = "crown"
    RETAINER = "retainer"
    PONTIC = "pontic"
    INLAY = "inlay"
    ONLAY = "onlay"
    VENEER = "veneer"
    IMPLANT_CROWN = "implant_crown"


class Cementation(StrEnum):
    """How a restoration is fixed."""

    ADHESIVE = "adhesive"
    CONVENTIONAL = "conventional"


class OcclusalSurface(StrEnum):
    """What a veneered restoration shows to the antagonist.

    ``ceramic`` is veneering ceramic, ``metal`` the bare framework, ``monolithic`` the
    unveneered ceramic core with layering on the facial surface only.
    """

    CERAMIC = "ceramic"
    METAL = "metal"
    MONOLITHIC = "monolithic"


class Retention(StrEnum):
    """How an implant crown is held on its implant."""

    CEMENT = "cement"
    SCREW = "screw"


class Region(StrEnum):
    """Where a span stands: anterior up to the canines, else posterior."""

    ANTERIOR = "anterior"
    POSTERIOR = "posterior"


class Referral(StrEnum):
    """What has to come first, before room can be made by other means."""

    CROWN_LENGTHENING = "crown_lengthening"
    ORTHODONTICS = "orthodontics"
    PLANE_CORRECTION = "plane_correction"
    VERTICAL_DIMENSION = "vertical_dimension"


class Side(StrEnum):
    """Whose reading it is."""

    CLINIC = "clinic"
    LABORATORY = "laboratory"


class Relation(StrEnum):
    """How a tooth pair meets; a property of the pair, not of the mouth."""

    NORMAL = "normal"
    CROSSBITE = "crossbite"
    EDGE_TO_EDGE = "edge_to_edge"
    SCISSOR = "scissor"
    OPEN = "open"
    NO_ANTAGONIST = "no_antagonist"


class Antagonist(StrEnum):
    """What stands opposite."""

    NATURAL = "natural"
    RESTORED = "restored"
    PROVISIONAL = "provisional"
    REMOVABLE_DENTURE = "removable_denture"
    IMPLANT = "implant"
    PREPARED = "prepared"
    NONE = "none"


class Position(StrEnum):
    """Jaw position of a clearance; the order breaks ties of governance."""

    MAXIMAL_INTERCUSPATION = "maximal_intercuspation"
    PROTRUSION = "protrusion"
    RIGHT_LATEROTRUSION = "right_laterotrusion"
    LEFT_LATEROTRUSION = "left_laterotrusion"


class Method(StrEnum):
    """How a reading was taken; a strip gives an interval, the others a point."""

    STRIP = "strip"
    WAX_CALIPER = "wax_caliper"
    SILICONE_CALIPER = "silicone_caliper"
    PROVISIONAL_CALIPER = "provisional_caliper"
    INDEX_PROBE = "index_probe"
    SCAN = "scan"
    CAST_CALIPER = "cast_caliper"
    OTHER = "other"


class Site(StrEnum):
    """Where on a preparation is measured, in the order results are listed."""

    BUCCAL_CUSPS = "buccal_cusps"
    LINGUAL_CUSPS = "lingual_cusps"
    MESIOBUCCAL_CUSP = "mesiobuccal_cusp"
    DISTOBUCCAL_CUSP = "distobuccal_cusp"
    DISTAL_CUSP = "distal_cusp"
    MESIOLINGUAL_CUSP = "mesiolingual_cusp"
    DISTOLINGUAL_CUSP = "distolingual_cusp"
    FUNCTIONAL_CUSP_BEVEL = "functional_cusp_bevel"
    CENTRAL_FOSSA = "central_fossa"
    MARGINAL_RIDGE = "marginal_ridge"
    LINGUAL_SURFACE = "lingual_surface"
    FACIOINCISAL_SURFACE = "facioincisal_surface"
    INCISAL_EDGE = "incisal_edge"
    FACIAL_SURFACE = "facial_surface"
    FACIAL_WALL = "facial_wall"
    LINGUAL_WALL = "lingual_wall"
    MESIAL_WALL = "mesial_wall"
    DISTAL_WALL = "distal_wall"
    FINISH_LINE = "finish_line"
    IMPLANT_PLATFORM = "implant_platform"


class Role(StrEnum):
    """Role of a cusp, derived from tooth, arch and relation, never typed.

    The last one is that of an implant platform under a screw-retained crown.
    """

    FUNCTIONAL_CUSP = "functional_cusp"
    NONFUNCTIONAL_CUSP = "nonfunctional_cusp"
    SCREWED_PLATFORM = "screw_retained_platform"


class Quantity(StrEnum):
    """What a number means; the four are never mixed."""

    CLEARANCE = "clearance"
    REDUCTION = "reduction"
    WIDTH = "width"
    THICKNESS = "thickness"


class Verdict(StrEnum):
    """Outcome at a site, of a unit, of a case; worst first."""

    INSUFFICIENT = "insufficient"
    UNDECIDED = "undecided"
    UNMEASURED = "unmeasured"
    SUFFICIENT = "sufficient"
    NOT_APPLICABLE = "not_applicable"


class Doubt(StrEnum):
    """Why a site is undecided; several may hold at once."""

    WITHIN_UNCERTAINTY = "within_uncertainty"
    INTERVAL_HOLDS_NEED = "interval_holds_need"
    DISAGREEMENT = "disagreement"
    INTERPENETRATION = "interpenetration"
    POSITION_MISSING = "position_missing"
    SPLIT_NOT_FIXED = "split_not_fixed"
    FACING_NEED_UNKNOWN = "facing_need_unknown"
    NO_NEED = "no_need"
    STALE = "stale"
    NO_CONTACT = "no_contact"


class Wall(StrEnum):
    """Axial wall of a preparation, for its height."""

    FACIAL = "facial"
    LINGUAL = "lingual"
    MESIAL = "mesial"
    DISTAL = "distal"


_LABELS: dict[StrEnum, str] = {
    Arch.UPPER: _("upper jaw"),
    Arch.LOWER: _("lower jaw"),
    ToothClass.INCISOR: _("incisor"),
    ToothClass.CANINE: _("canine"),
    ToothClass.PREMOLAR: _("premolar"),
    ToothClass.MOLAR: _("molar"),
    Kind.CROWN: _("crown"),
    Kind.RETAINER: _("retainer"),
    Kind.PONTIC: _("pontic"),
    Kind.INLAY: _("inlay"),
    Kind.ONLAY: _("onlay"),
    Kind.VENEER: _("veneer"),
    Kind.IMPLANT_CROWN: _("implant crown"),
    Cementation.ADHESIVE: _("adhesive cementation"),
    Cementation.CONVENTIONAL: _("conventional cementation"),
    OcclusalSurface.CERAMIC: _("ceramic occlusal surface"),
    OcclusalSurface.METAL: _("metal occlusal surface"),
    OcclusalSurface.MONOLITHIC: _("monolithic occlusal surface, facial layering only"),
    Retention.CEMENT: _("cement-retained"),
    Retention.SCREW: _("screw-retained"),
    Region.ANTERIOR: _("anterior"),
    Region.POSTERIOR: _("posterior"),
    Referral.CROWN_LENGTHENING: _("crown lengthening"),
    Referral.ORTHODONTICS: _("orthodontic intrusion"),
    Referral.PLANE_CORRECTION: _("correction of the occlusal plane"),
    Referral.VERTICAL_DIMENSION: _("change of the vertical dimension by plan"),
    Side.CLINIC: _("clinic"),
    Side.LABORATORY: _("laboratory"),
    Relation.NORMAL: _("normal relation"),
    Relation.CROSSBITE: _("crossbite"),
    Relation.EDGE_TO_EDGE: _("edge to edge"),
    Relation.SCISSOR: _("scissor bite"),
    Relation.OPEN: _("open bite"),
    Relation.NO_ANTAGONIST: _("no antagonist"),
    Antagonist.NATURAL: _("natural tooth"),
    Antagonist.RESTORED: _("restored tooth"),
    Antagonist.PROVISIONAL: _("provisional restoration"),
    Antagonist.REMOVABLE_DENTURE: _("removable denture"),
    Antagonist.IMPLANT: _("implant restoration"),
    Antagonist.PREPARED: _("prepared tooth"),
    Antagonist.NONE: _("no antagonist"),
    Position.MAXIMAL_INTERCUSPATION: _("maximal intercuspation"),
    Position.PROTRUSION: _("protrusion"),
    Position.RIGHT_LATEROTRUSION: _("right laterotrusion"),
    Position.LEFT_LATEROTRUSION: _("left laterotrusion"),
    Method.STRIP: _("thickness strip"),
    Method.WAX_CALIPER: _("wax and caliper"),
    Method.SILICONE_CALIPER: _("silicone and caliper"),
    Method.PROVISIONAL_CALIPER: _("provisional and caliper"),
    Method.INDEX_PROBE: _("index and probe"),
    Method.SCAN: _("scan"),
    Method.CAST_CALIPER: _("casts and caliper"),
    Method.OTHER: _("other method"),
    Site.BUCCAL_CUSPS: _("buccal cusps"),
    Site.LINGUAL_CUSPS: _("lingual cusps"),
    Site.MESIOBUCCAL_CUSP: _("mesiobuccal cusp"),
    Site.DISTOBUCCAL_CUSP: _("distobuccal cusp"),
    Site.DISTAL_CUSP: _("distal cusp"),
    Site.MESIOLINGUAL_CUSP: _("mesiolingual cusp"),
    Site.DISTOLINGUAL_CUSP: _("distolingual cusp"),
    Site.FUNCTIONAL_CUSP_BEVEL: _("functional cusp bevel"),
    Site.CENTRAL_FOSSA: _("central fossa"),
    Site.MARGINAL_RIDGE: _("marginal ridge"),
    Site.LINGUAL_SURFACE: _("lingual surface"),
    Site.FACIOINCISAL_SURFACE: _("facio-incisal surface"),
    Site.INCISAL_EDGE: _("incisal edge"),
    Site.FACIAL_SURFACE: _("facial surface"),
    Site.FACIAL_WALL: _("facial wall"),
    Site.LINGUAL_WALL: _("lingual wall"),
    Site.MESIAL_WALL: _("mesial wall"),
    Site.DISTAL_WALL: _("distal wall"),
    Site.FINISH_LINE: _("finish line"),
    Site.IMPLANT_PLATFORM: _("implant platform"),
    Role.FUNCTIONAL_CUSP: _("functional cusp"),
    Role.NONFUNCTIONAL_CUSP: _("non-functional cusp"),
    Role.SCREWED_PLATFORM: _("implant platform of a screw-retained crown"),
    Quantity.CLEARANCE: _("clearance"),
    Quantity.REDUCTION: _("reduction"),
    Quantity.WIDTH: _("width"),
    Quantity.THICKNESS: _("thickness"),
    Verdict.INSUFFICIENT: _("insufficient"),
    Verdict.UNDECIDED: _("undecided"),
    Verdict.UNMEASURED: _("unmeasured"),
    Verdict.SUFFICIENT: _("sufficient"),
    Verdict.NOT_APPLICABLE: _("not applicable"),
    Wall.FACIAL: _("facial wall"),
    Wall.LINGUAL: _("lingual wall"),
    Wall.MESIAL: _("mesial wall"),
    Wall.DISTAL: _("distal wall"),
}


def label(term: StrEnum) -> str:
    """Return the English label of a term (a message id); its code if it has none.

    A site's label depends on its tooth ("palatal" in the maxilla): use
    ``rules.teeth.site_label`` for sites.
    """
    return _LABELS.get(term, term.value)
