"""The whole play, act by act, and the files it leaves."""

import json
from collections.abc import Callable
from pathlib import Path

import pikepdf

from portal.walkthrough import act_bench, act_outcome, act_query, act_submit
from portal.walkthrough.cast import Cast
from portal.walkthrough.job import Job
from portal.walkthrough.report import NotVerified, Report

__all__ = ["FILES", "play"]

FILES = ("work-order.pdf", "timeline.json", "summary.txt")
_UNTIL_RELEASED = (
    act_submit.at_the_chair,
    act_submit.draft,
    act_submit.submit,
    act_query.receive,
    act_query.check,
    act_query.flag,
    act_query.messages,
    act_query.outsider,
    act_query.refused,
    act_query.answer,
    act_bench.records,
    act_bench.receive_again,
    act_bench.clear,
    act_bench.release,
)
_AFTER = (
    act_bench.verification,
    act_outcome.dispatch,
    act_outcome.receipt,
    act_outcome.fit,
)
# What an answer of an unexpected shape, or none at all, leads to here.
_ODD = (
    OSError,
    LookupError,
    TypeError,
    ValueError,
    AttributeError,
    pikepdf.PdfError,
)


def play(cast: Cast, out: Path, *, mail: Path, say: Callable[[str], None]) -> Report:
    """Play the job against the cast's server; return what was verified.

    ``out`` gets the work order, the timeline and the summary, as far as the play
    came. ``mail`` is the folder the server writes its mails to.
    """
    report = Report(f"server: {cast.base_url}", say)
    job = Job(cast, report)
    for name in FILES:
        (out / name).unlink(missing_ok=True)
    try:
        for scene in _UNTIL_RELEASED:
            scene(job)
        (out / FILES[0]).write_bytes(act_bench.document(job))
        for scene in _AFTER:
            scene(job)
        told = json.dumps(act_outcome.timeline(job), indent=2, ensure_ascii=False)
        (out / FILES[1]).write_text(told + "\n", encoding="utf-8")
        act_outcome.notices(job, mail)
        report.done()
    except NotVerified as error:
        report.failed(str(error))
    except _ODD as error:
        report.failed(f"an answer of another kind than promised: {error!r}")
    finally:
        (out / FILES[2]).write_text(report.text(), encoding="utf-8")
    return report
