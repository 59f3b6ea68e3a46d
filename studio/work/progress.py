"""How far a job has come, for the page of whoever waits for it."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from studio.foundation.errors import NotFound
from studio.work.jobs import Job, JobState

#: A worker takes a job at once; one that waits longer has none to take it.
USUAL_WAIT = timedelta(seconds=20)
_ENDED = (JobState.DONE, JobState.FAILED)


@dataclass(frozen=True, slots=True, kw_only=True)
class Progress:
    """A job as its page tells it. `done` of `total` steps are behind it; `step` names the present
    one where the job says it. `lonely` means that no worker has taken it for a while."""

    job: Job
    done: int
    total: int
    step: str
    lonely: bool

    @property
    def ended(self) -> bool:
        """Whether it is over, well or not."""
        return self.job.state in _ENDED

    @property
    def outcome(self) -> Mapping[str, Any]:
        """What came of it."""
        outcome: Mapping[str, Any] = self.job.outcome
        return outcome


def job_progress(pk: int, *, name: str, now: datetime) -> Progress:
    """How far a job of that name has come. Two queries. Raises NotFound."""
    job = Job.objects.filter(pk=pk, name=name, parent=None).first()
    if job is None:
        raise NotFound("That work is not kept any more: ask for it again.", field="job")
    parts = list(job.parts.all())
    ended = [part for part in parts if part.state in _ENDED]
    told: Mapping[str, Any] = next(
        (part.outcome for part in parts if part.state == JobState.RUNNING), {}
    )
    if len(parts) == 1 and not ended:
        done, total = int(told.get("done", 0)), int(told.get("of", 1))
    else:
        done, total = len(ended), len(parts)
    waits = all(part.state == JobState.WAITING for part in parts)
    return Progress(
        job=job,
        done=done,
        total=total,
        step=str(told.get("step", "")),
        lonely=waits and now - job.created_at > USUAL_WAIT,
    )
