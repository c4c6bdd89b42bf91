"""Queries, signed answers and the grounds on which a short site may be built."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from django.utils.translation import gettext

from cases.documents import words
from cases.documents.figures import captions, length, mm, site_mark
from cases.documents.moments import day, moment
from cases.drawings.clearance_chart import measured_text
from cases.enums import CoverageKind
from cases.lifecycle import AnswerKind
from rules.teeth import arch
from rules.terms import Cementation, OcclusalSurface, Retention

__all__ = [
    "Ground",
    "Query",
    "ShortSite",
    "Signed",
    "grounds",
    "queries",
    "signed",
]

Json = Mapping[str, Any]

SHORT_DIGEST: Final = 16


@dataclass(frozen=True, slots=True)
class Signed:
    """An electronic signature as printed."""

    name: str
    role: str
    signed_for: str
    meaning: str
    when: str
    method: str
    digest: str

    @property
    def short_digest(self) -> str:
        """The beginning of the digest: enough to compare by eye."""
        return self.digest[:SHORT_DIGEST]


@dataclass(frozen=True, slots=True)
class ShortSite:
    """One site that is built although it is not proven sufficient."""

    tooth: str
    site: str
    need: str
    measured: str
    verdict: str
    verdict_word: str
    shortage: str


@dataclass(frozen=True, slots=True)
class Query:
    """A settled query with its signed answer."""

    code: str
    reasons: str
    question: str
    raised_by: str
    raised: str
    sites: str
    answer: str
    particulars: tuple[str, ...]
    grounds: str
    consent: bool
    verified: bool
    signature: Signed | None
    countersignature: Signed | None


@dataclass(frozen=True, slots=True)
class Ground:
    """One ground and the sites built on it.

    ``query`` holds the answer that covers them; without one ``text`` says why.
    """

    heading: str
    sites: tuple[ShortSite, ...]
    query: Query | None
    text: str
    given: str


def signed(signature: Json | None, zone: str) -> Signed | None:
    """Return a signature of the content with its words, or None."""
    if signature is None:
        return None
    return Signed(
        name=signature["name"],
        role=words.role(signature["role"]),
        signed_for=signature.get("signed_for") or "",
        meaning=signature["meaning"],
        when=moment(signature["signed_at"], zone),
        method=words.reauthentication(signature["method"]),
        digest=signature["content_sha256"],
    )


def _settled_by(ground: Json, content: Json) -> Json | None:
    """Return the query whose answer a ground names.

    An answer covers the sites its query asked about; where the content does not
    name answers with the queries, the last one of the same kind for that site.
    """
    for query in reversed(content["queries"]):
        if query.get("answer") and query["answer"] == ground["answer"]:
            found: Json = query
            return found
        about = {(s["tooth"], s["site"]) for s in query["sites"]}
        same = (ground["tooth"], ground["site"]) in about
        if not query.get("answer") and query["kind"] == ground["answer_kind"] and same:
            return dict(query)
    return None


def _short_site(ground: Json, judged: Json | None, system: str) -> ShortSite:
    tooth = str(ground["tooth"])
    mark = site_mark(judged, tooth) if judged else None
    return ShortSite(
        tooth=words.tooth(tooth, system),
        site=words.capital(words.site(ground["site"], tooth)),
        need=mm(judged["need_mm"]) if judged else "",
        measured=measured_text(mark, captions(arch(tooth))) if mark else "",
        verdict=ground["verdict"],
        verdict_word=words.verdict(ground["verdict"]),
        shortage=mark.shortage_text if mark else "",
    )


def _judged(ground: Json, results: Mapping[str, Json]) -> Json | None:
    """Return the site of the check a ground speaks of."""
    sites = results.get(str(ground["tooth"]), {}).get("sites", ())
    same = [s for s in sites if s["site"] == ground["site"]]
    exact = [s for s in same if s["verdict"] == ground["verdict"]]
    return next(iter(exact or same), None)


def _heading(ground: Json) -> str:
    if ground["ground"] == CoverageKind.UNCERTAINTY:
        return gettext("Cleared within measuring uncertainty")
    if ground["answer_kind"] == AnswerKind.ACCEPT_RISK:
        return gettext("Accepted with documented risk")
    if ground["answer_kind"] == AnswerKind.REDUCTION_COPING:
        return gettext("Reduction coping: the tooth is trimmed at the fit")
    return words.answer_kind(ground["answer_kind"] or "")


def _ground(
    members: Sequence[Json], content: Json, results: Mapping[str, Json]
) -> Ground:
    first = members[0]
    system, zone = content["clinic"]["tooth_system"], content["clinic"]["time_zone"]
    settled = _settled_by(first, content) if first["answer"] else None
    text = ""
    if first["ground"] == CoverageKind.UNCERTAINTY:
        text = gettext(
            "A technician cleared it on the record: the reading is at or above the "
            "need, and only its measuring uncertainty leaves it undecided."
        )
    given = [first.get("given_by") or "", moment(first.get("given_at"), zone)]
    return Ground(
        heading=_heading(first),
        sites=tuple(_short_site(g, _judged(g, results), system) for g in members),
        query=_query(settled, content) if settled else None,
        text=text,
        given=", ".join(part for part in given if part),
    )


def grounds(content: Json, results: Mapping[str, Json]) -> list[Ground]:
    """Return the grounds of an order, the sites of one answer together."""
    grouped: dict[tuple[Any, ...], list[Json]] = {}
    for ground in content["grounds"]:
        key = (ground["ground"], ground["answer_kind"], ground["answer"])
        grouped.setdefault(key, []).append(ground)
    return [_ground(members, content, results) for members in grouped.values()]


def _asked(query: Json, system: str) -> str:
    return "; ".join(
        f"{words.tooth(str(s['tooth']), system)} "
        f"{words.site(s['site'], str(s['tooth']))}"
        for s in query["sites"]
    )


def _depths(parameters: Json, system: str) -> Iterator[str]:
    for tooth, sites in (parameters.get("depth_mm") or {}).items():
        for site, depth in sites.items():
            said = {
                "tooth": words.tooth(tooth, system),
                "site": words.site(site, tooth),
                "low": mm(depth["low"]),
                "high": mm(depth["high"]),
            }
            if length(depth["low"]):
                yield (
                    gettext("%(tooth)s %(site)s: remove %(low)s to %(high)s mm") % said
                )
            else:
                yield gettext("%(tooth)s %(site)s: remove up to %(high)s mm") % said


def _changed(key: str, value: str, labels: Mapping[str, str]) -> str:
    if key == "material":
        return words.material(value, labels.get(value, ""))
    if key == "retention":
        return words.term(Retention, value)
    if key == "occlusal_surface":
        return words.term(OcclusalSurface, value)
    if key == "cementation":
        return words.term(Cementation, value)
    return value


def _particulars(query: Json, system: str) -> Iterator[str]:
    """Return what the answer fixed beyond its kind, as sentences."""
    parameters = query.get("parameters") or {}
    yield from _depths(parameters, system)
    for tooth, keys in (parameters.get("changes") or {}).items():
        changed = ", ".join(
            _changed(key, value, query.get("material_labels") or {})
            for key, value in keys.items()
        )
        yield f"{words.tooth(tooth, system)}: {changed}"
    if parameters.get("referral"):
        yield words.capital(parameters["referral"].replace("_", " "))
    if parameters.get("review_on"):
        yield gettext("Review on %(day)s") % {"day": day(parameters["review_on"])}


def _query(query: Json, content: Json) -> Query:
    system, zone = content["clinic"]["tooth_system"], content["clinic"]["time_zone"]
    return Query(
        code=query["flag"],
        reasons=", ".join(words.reason(reason) for reason in query["reasons"]),
        question=query["question"],
        raised_by=query["raised_by"],
        raised=moment(query["raised_at"], zone),
        sites=_asked(query, system),
        answer=words.answer_kind(query["kind"]),
        particulars=tuple(_particulars(query, system)),
        grounds=query["grounds"],
        consent=bool(query["consent"]),
        verified=bool(query.get("verified")),
        signature=signed(query["signature"], zone),
        countersignature=signed(query["countersignature"], zone),
    )


def queries(content: Json, shown: Sequence[Ground]) -> list[Query]:
    """Return the settled queries that no ground shows, oldest first."""
    elsewhere = {ground.query.code for ground in shown if ground.query}
    return [
        _query(query, content)
        for query in content["queries"]
        if query["flag"] not in elsewhere
    ]
