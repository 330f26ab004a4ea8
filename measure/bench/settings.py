"""What a bench is started with, and the limits that hold for whoever sends it something."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

LOOPBACK = "127.0.0.1"


@dataclass(frozen=True, slots=True)
class Limits:
    """How much is taken from whom.

    Attributes:
        upload_mb: size of a photo's file; form_kb: of everything else in its form, and of any other body.
        upload_s: an upload is done by then; pause_s: and never pauses longer.
        receiving: uploads that are received at one time; each_receiving: of them from one address.
        burst, refill_s: uploads that an address may begin at once, and how long one more takes.
        listeners: event streams that are open at one time.
        looking: photos of owners that are looked at or wait for that; then no more are taken for a while.
        large_megapixels: photos of more are looked at one at a time; memory_gb: what looking at one may take.
        waiting: jobs from owners that nobody has traced yet; then the owners' page is closed.
        free_mb: of disk that has to be left.
        trace_s, check_s: what looks at a photo longer is stopped; a check traces it, too.
        workers: processes that look at photos.
    """

    upload_mb: float = 40.0
    form_kb: float = 256.0
    upload_s: float = 90.0
    pause_s: float = 10.0
    receiving: int = 16
    each_receiving: int = 10
    burst: int = 12
    refill_s: float = 5.0
    listeners: int = 64
    looking: int = 24
    large_megapixels: float = 30.0
    memory_gb: float = 3.0
    waiting: int = 200
    free_mb: float = 500.0
    trace_s: float = 180.0
    check_s: float = 180.0
    workers: int = 2


@dataclass(frozen=True, slots=True)
class Settings:
    """A bench.

    Attributes:
        folder: the jobs are in it.
        host, port: where it listens.
        intake: whether owners may send photos.
        fixer_token, owner_token: what opens it, and what opens the owners' page only; empty where nothing is asked.
        language: that is spoken to everybody; empty for the one that each browser asks for.
        limits: see there.
    """

    folder: Path
    host: str = LOOPBACK
    port: int = 8765
    intake: bool = False
    fixer_token: str = ""
    owner_token: str = ""
    language: str = ""
    limits: Limits = field(default_factory=Limits)
