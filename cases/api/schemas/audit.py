"""Schemas of the audit: rates and what is hidden of them, charts, cases."""

from typing import Final

from cases.api.schemas.shapes import (
    DATE,
    FLAG,
    MOMENT,
    NUMBER,
    TEXT,
    WHOLE,
    Schema,
    array,
    nullable,
    record,
    ref,
    words,
)

__all__ = ["COMPONENTS"]

_HIDDEN: Final[Schema] = {
    **words(("", "small", "secondary", "few")),
    "description": "Why figures are null: small, fewer than may be shown; secondary, "
    "could be worked out from what is shown; few, too few for a rate.",
}
_SHARE: Final = nullable({"type": "number", "minimum": 0, "maximum": 1})
_COUNT: Final = nullable({"type": "integer", "minimum": 0})
_REAL: Final = nullable(NUMBER)
# The filters that, beside the answer's own, list the cases behind a number.
_CASES: Final[Schema] = {
    "type": ["object", "null"],
    "additionalProperties": TEXT,
    "description": "Parameters of audit/cases beside the answer's own filter.",
}
_ASKED: Final[dict[str, Schema]] = {
    "as_of": MOMENT,
    "period": record({"from": TEXT, "to": TEXT}),
    "filter": {"type": "object", "additionalProperties": TEXT},
}
_STANDING: Final[dict[str, Schema]] = {
    **_ASKED,
    "viewer": words(("laboratory", "clinic", "clinician")),
    "suppression": record(
        {"small_number": WHOLE, "least_cases": WHOLE, "suppressed": FLAG}
    ),
    "n": WHOLE,
    "reported": WHOLE,
}
_ABOUT_STANDING: Final = (
    "n: restorations dispatched in the period; reported: those with a fit report or a "
    "remake. Counts from 1 up to below small_number are null everywhere."
)
_POINT: Final = {
    "n": WHOLE,
    "count": _COUNT,
    "rate": _SHARE,
    "hidden": _HIDDEN,
    "cases": _CASES,
}


def _answer(parts: dict[str, Schema]) -> Schema:
    return record({**_STANDING, **parts}, about=_ABOUT_STANDING)


_ROW: Final = ref("AuditRate")
_WAITING: Final = record(
    {
        "side": TEXT,
        "n": WHOLE,
        "waiting": WHOLE,
        "median_hours": _REAL,
        "low_hours": _REAL,
        "high_hours": _REAL,
        "bars": array(
            record({"from_hours": NUMBER, "to_hours": _REAL, "count": _COUNT})
        ),
        "hidden": _HIDDEN,
    },
    about="Hours of the calendar; open ones are censored, not left out.",
)
_CONTROL: Final = record(
    {
        "grouping": TEXT,
        "centre": _SHARE,
        "sigma_z": _REAL,
        "points": array(
            record(
                {
                    "label": TEXT,
                    "first": DATE,
                    "last": DATE,
                    **_POINT,
                    "lower": _SHARE,
                    "upper": _SHARE,
                    "signal": words(("", "above", "below")),
                    "complete": FLAG,
                }
            )
        ),
        "annotations": array(record({"on": DATE, "text": TEXT, "kind": TEXT})),
    },
    about="Laney p'. Points whose restorations were not followed up are incomplete.",
)
_FUNNEL: Final = record(
    {
        "target": _SHARE,
        "overdispersion": _REAL,
        "points": array(record({"key": TEXT, "label": TEXT, **_POINT, "place": TEXT})),
        "lines": array(
            record(
                {
                    "n": WHOLE,
                    "low_998": NUMBER,
                    "low_95": NUMBER,
                    "high_95": NUMBER,
                    "high_998": NUMBER,
                }
            )
        ),
    }
)
_TREND: Final = record(
    {
        "z": _REAL,
        "p": _SHARE,
        "clusters": WHOLE,
        "clustered_z": _REAL,
        "clustered_p": _SHARE,
        "odds_ratio_per_step": _REAL,
        "within_p": _SHARE,
    },
    about="Cochran-Armitage, the same with clinicians as clusters, and within each.",
)

COMPONENTS: dict[str, Schema] = {
    "AuditRate": record(
        {"key": TEXT, "label": TEXT, **_POINT, "low": _SHARE, "high": _SHARE},
        about="count of n with its 95 % Wilson interval, as shares of 1.",
    ),
    "AuditSummary": _answer(
        {
            "headline": array(_ROW),
            "findings": array(
                record(
                    {
                        "key": TEXT,
                        "text": TEXT,
                        "certainty": TEXT,
                        "p": _SHARE,
                        "cases": _CASES,
                    }
                )
            ),
            "alarms": array(
                record(
                    {
                        "key": TEXT,
                        "label": TEXT,
                        "value": NUMBER,
                        "decision": NUMBER,
                        "since": WHOLE,
                        "remakes": _COUNT,
                        "cases": _CASES,
                    }
                )
            ),
            "time_to_remake": record(
                {
                    "steps": array(
                        record(
                            {
                                "days": WHOLE,
                                "at_risk": WHOLE,
                                "share": NUMBER,
                                "low": NUMBER,
                                "high": NUMBER,
                            }
                        )
                    ),
                    "hidden": _HIDDEN,
                }
            ),
        }
    ),
    "AuditRates": _answer(
        {
            "rates": array(
                record(
                    {
                        "dimension": TEXT,
                        "measure": TEXT,
                        "rows": array(_ROW),
                        "total": _ROW,
                    }
                )
            )
        }
    ),
    "AuditCauses": _answer(
        {
            "causes": array(
                record(
                    {
                        "key": TEXT,
                        "label": TEXT,
                        "count": _COUNT,
                        "internal": _COUNT,
                        "share": _SHARE,
                        "cumulative": _SHARE,
                        "hidden": _HIDDEN,
                        "cases": _CASES,
                    }
                )
            ),
            "attributions": array(_ROW),
            "detected": array(_ROW),
        }
    ),
    "AuditControlChart": _answer({"control_chart": _CONTROL}),
    "AuditFunnel": _answer({"funnel": nullable(_FUNNEL)}),
    "AuditClearance": _answer(
        {
            "dose_response": array(
                record(
                    {
                        "basis": words(("first", "built")),
                        "measure": TEXT,
                        "rows": array(_ROW),
                        "trend": nullable(_TREND),
                    }
                )
            ),
            "opposing": record(
                {
                    "without": _ROW,
                    "with_query": _ROW,
                    "odds_ratio": _REAL,
                    "p": _SHARE,
                    "clusters": WHOLE,
                    "clustered_p": _SHARE,
                    "within_p": _SHARE,
                }
            ),
            "flow": array(
                record(
                    {
                        "verdict": TEXT,
                        "option": TEXT,
                        "outcome": TEXT,
                        "count": _COUNT,
                        "hidden": _HIDDEN,
                        "cases": _CASES,
                    }
                )
            ),
        }
    ),
    "AuditQueries": _answer(
        {"queries_raised": WHOLE, "options": array(_ROW), "waiting": array(_WAITING)}
    ),
    "AuditCases": record(
        {
            **_ASKED,
            "n": _COUNT,
            "hidden": FLAG,
            "items": array(
                record(
                    {
                        "case": TEXT,
                        "part": TEXT,
                        "teeth": array(TEXT),
                        "clinic": TEXT,
                        "material": TEXT,
                        "kind": TEXT,
                        "dispatched_on": DATE,
                        "clearance_at_submission": TEXT,
                    }
                )
            ),
            "next": nullable(TEXT),
        },
        about="hidden: fewer match than may be listed, so neither they nor n are told.",
    ),
}
