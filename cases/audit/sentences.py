"""What findings say: templates in English for the edges to translate.

Rates come in as percentages with one decimal, intervals in percentage points.
"""

from typing import Final

__all__ = [
    "ALARM",
    "CLINIC",
    "DOSE",
    "DOSE_BUILT",
    "MATERIAL",
    "OPPOSING_HIGHER",
    "OPPOSING_LOWER",
    "PERIOD",
    "TESTS",
    "p_words",
    "percent",
]

PERIOD: Final = (
    "In the complete months of this period {count} of {n} restorations were remade"
    " ({rate} %); in the months before it, {other_count} of {other_n} ({other_rate} %)."
)
CLINIC: Final = (
    "Of {n} restorations for {clinic} {count} were remade ({rate} %); over all clinics"
    " it is {target} %. Look at these cases together: a rate says where to look, not who"
    " is at fault."
)
ALARM: Final = (
    "Remakes for {clinic} have been piling up: {remakes} among its latest {since}"
    " restorations of complete months. Look at these cases before more are made."
)
# Classes of shortage, and neighbours told together, as sentences have them.
_SHORT: Final = {
    "over_050": "more than 0.50 mm",
    "up_to_050": "0.25 to 0.50 mm",
    "up_to_025": "up to 0.25 mm",
    "up_to_050.over_050": "more than 0.25 mm",
    "up_to_025.up_to_050": "up to 0.50 mm",
    "up_to_025.up_to_050.over_050": "any amount",
}
DOSE: Final = {
    key: (
        f"Where the readings at submission were short by {short},"
        " {count} of {n} restorations were remade, not fitted, or the opposing tooth was"
        " ground; where they were sufficient, {other_count} of {other_n}."
    )
    for key, short in _SHORT.items()
}
DOSE_BUILT: Final = {
    key: (
        f"Of {{n}} restorations built on readings short by {short},"
        " {count} were remade, not fitted, or the opposing tooth was ground; of {other_n}"
        " built on sufficient ones, {other_count}. Look at how such cases are settled"
        " before they are built."
    )
    for key, short in _SHORT.items()
}
OPPOSING_LOWER: Final = (
    "After a query before fabrication the opposing tooth was adjusted at {count} of {n}"
    " seatings ({rate} %); without one at {other_count} of {other_n} ({other_rate} %)."
)
OPPOSING_HIGHER: Final = (
    "After a query before fabrication the opposing tooth was still adjusted at {count}"
    " of {n} seatings ({rate} %), more often than without one: {other_count} of"
    " {other_n} ({other_rate} %). Queries go to the tight preparations: look at what"
    " was answered."
)
MATERIAL: Final = (
    "Of {n} restorations in {material} {count} were remade ({rate} %); of all others"
    " {other_count} of {other_n} ({other_rate} %)."
)

_CORRECTED: Final = "corrected for {tests} questions asked (Holm): p {p}."
_INTERVAL: Final = (
    "Difference of the rates, 95 % interval {low} to {high} percentage points; "
)
TESTS: Final = {
    "period": (
        _INTERVAL + "the larger p of Fisher's exact test and of one with clinicians as"
        " clusters, " + _CORRECTED
    ),
    "dose": (
        _INTERVAL + "trend over all classes, the larger p of the Cochran-Armitage test"
        " and of one with {clusters} clinicians as clusters, " + _CORRECTED
    ),
    "dose_within": (
        _INTERVAL + "trend over all classes, the larger p of the Cochran-Armitage test"
        " and of Mantel's within each of {clusters} clinicians, which speaks of these"
        " alone, " + _CORRECTED
    ),
    "dose_own": (
        _INTERVAL + "trend over all classes by the Cochran-Armitage test, " + _CORRECTED
    ),
    "difference": (
        _INTERVAL + "the larger p of Fisher's exact test and of one with {clusters}"
        " clinicians as clusters, " + _CORRECTED
    ),
    "difference_within": (
        _INTERVAL + "the larger p of Fisher's exact test and of Mantel's within each of"
        " {clusters} clinicians, which speaks of these alone, " + _CORRECTED
    ),
    "difference_own": _INTERVAL + "Fisher's exact test, " + _CORRECTED,
    "material": (
        _INTERVAL + "the larger p of Fisher's exact test and of one widened by how much"
        " clinicians differ, " + _CORRECTED
    ),
    "clinic": (
        "Beyond the 99.8 % limit of the funnel; the larger p of the exact binomial test"
        " and of one against the other clinics, by how much these differ among"
        " themselves, " + _CORRECTED
    ),
    "alarm": (
        "Sum of log-likelihood ratios (CUSUM) for twice the laboratory's own rate of"
        " the period against that rate; the chance that it climbs as high by itself,"
        " widened by how much the other clinics differ among themselves, " + _CORRECTED
    ),
}


def percent(rate: float) -> str:
    """Return a fraction of 1 as a percentage with one decimal, without the sign."""
    return f"{100 * rate:.1f}"


def p_words(p: float) -> str:
    """Return "= 0.012" or "< 0.0001": two digits, never more than is known."""
    return "< 0.0001" if p < 0.0001 else f"= {float(f'{p:.2g}'):.4f}".rstrip("0")
