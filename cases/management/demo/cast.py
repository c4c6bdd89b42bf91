"""Who plays: one laboratory, three clinics, people of all five roles."""

from dataclasses import dataclass

from cases.enums import OrganisationKind, Role

__all__ = ["CAST", "COMPANIES", "LABORATORY", "Company", "Part"]


@dataclass(frozen=True, slots=True)
class Company:
    """One invented organisation."""

    key: str
    kind: OrganisationKind
    name: str
    domain: str
    tooth_system: str = "iso3950"


@dataclass(frozen=True, slots=True)
class Part:
    """One invented person with one role in one organisation."""

    key: str
    company: str
    role: Role
    name: str
    responsible: bool = False
    second_factor: bool = False

    @property
    def licence_number(self) -> str:
        """What a clinician has printed where they sign; plainly no real number."""
        return f"INVENTED-{self.key}" if self.role is Role.CLINICIAN else ""


LABORATORY = "bench"
COMPANIES = (
    Company(
        LABORATORY,
        OrganisationKind.LABORATORY,
        "Wobblebench Laboratory (invented)",
        "wobblebench.example",
    ),
    Company(
        "quill",
        OrganisationKind.CLINIC,
        "Quillfern Clinic (invented)",
        "quillfern.example",
    ),
    Company(
        "moss",
        OrganisationKind.CLINIC,
        "Mossgallop Clinic (invented)",
        "mossgallop.example",
        tooth_system="universal",
    ),
    Company(
        "tangle",
        OrganisationKind.CLINIC,
        "Tanglewhisk Clinic (invented)",
        "tanglewhisk.example",
    ),
)

CAST = (
    Part("orrix", LABORATORY, Role.TECHNICIAN, "Orrix Plumbwell"),
    Part("velka", "quill", Role.CLINICIAN, "Velkana Thrumble"),
    Part("pim", "quill", Role.ASSISTANT, "Pimsel Oakwhit"),
    Part("jorv", "quill", Role.CLINIC_MANAGER, "Jorvalu Tamberwisk"),
    Part("sedda", LABORATORY, Role.TECHNICIAN, "Seddana Quorlip", responsible=True),
    Part("brum", LABORATORY, Role.LAB_MANAGER, "Brumelo Fisktarn", second_factor=True),
    Part("tolva", LABORATORY, Role.LAB_MANAGER, "Tolvari Skindrel"),
    Part("ildo", "moss", Role.CLINICIAN, "Ildomar Vexlerroo"),
    Part("wen", "moss", Role.ASSISTANT, "Wendrix Pallow"),
    Part("tarka", "tangle", Role.CLINICIAN, "Tarkalin Dreevo"),
    Part("ubbe", "tangle", Role.ASSISTANT, "Ubbelie Snarrow"),
)
