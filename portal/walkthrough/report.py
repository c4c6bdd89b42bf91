"""What was done and what of it was verified; the summary a person reads."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any

from portal.walkthrough.client import Answer

__all__ = ["NotVerified", "Report", "Step"]


class NotVerified(Exception):
    """A step whose outcome is not what it must be."""


@dataclass(slots=True)
class Step:
    """One step: who did it, the case's state before and after, what held."""

    name: str
    who: str
    before: str
    after: str = ""
    verified: list[str] = field(default_factory=list)

    def verify(self, holds: object, what: str, seen: object = None) -> None:
        """Note what holds.

        Raises:
            NotVerified: it does not; ``seen`` says what was there instead.
        """
        if not holds:
            said = seen.said() if isinstance(seen, Answer) else seen
            raise NotVerified(f"{what}: not so" + (f", but {said}" if said else ""))
        self.verified.append(what)

    def expect(self, answer: Answer, status: int, what: str) -> Any:
        """Verify the status of an answer and return its body.

        Raises:
            NotVerified: another status.
        """
        self.verify(answer.status == status, f"{what} ({status})", answer)
        kind = answer.headers.get("content-type", "")
        return answer.json() if "json" in kind else None


@dataclass(slots=True)
class Report:
    """Every step in order, the open one last."""

    about: str
    say: Callable[[str], None]
    steps: list[Step] = field(default_factory=list)
    failure: str = "the play did not come to its end"

    @contextmanager
    def step(self, name: str, who: object, before: str) -> Iterator[Step]:
        """Take one step; say so once all of it is verified."""
        step = Step(name, str(who), before)
        self.steps.append(step)
        yield step
        if not step.verified:
            raise AssertionError(f"step {name!r} verifies nothing")
        step.after = step.after or before
        self.say(f"{len(self.steps):2}. {name}: {step.before} -> {step.after}")

    def done(self) -> None:
        """Say that the play came to its end; until then the report is a failure."""
        self.failure = ""

    def failed(self, why: str) -> None:
        """Name the open step and why it is not verified."""
        name = self.steps[-1].name if self.steps else "start"
        self.failure = f"step {len(self.steps)} ({name}): {why}"

    def text(self) -> str:
        """Return the summary."""
        lines = ["Chairbench: the main job over HTTP", self.about, ""]
        for number, step in enumerate(self.steps, 1):
            lines += [
                f"{number:2}. {step.name}",
                f"    who:      {step.who}",
                f"    state:    {step.before} -> {step.after or '?'}",
                *(f"    verified: {what}" for what in step.verified),
            ]
        lines.append("")
        if self.failure:
            lines.append(f"NOT VERIFIED: {self.failure}")
        else:
            count = sum(len(step.verified) for step in self.steps)
            lines.append(
                f"{len(self.steps)} steps, {count} facts, all verified from outside."
            )
        return "\n".join(lines) + "\n"
