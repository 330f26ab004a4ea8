"""One job, and everything that is done to one in any order: commands, the bench, a person's own hand, sudden ends.

Whatever happens, a reading that was acknowledged and that nobody took out stands in a file of the job, the page shows
it or says in a sentence why it can't, nothing is answered with 500, and nothing half-written stays.
"""

from __future__ import annotations

import contextlib
import os
import shutil
import signal
import tempfile
import time
from contextlib import ExitStack
from dataclasses import replace
from pathlib import Path
from typing import Any

from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

from calib.errors import JawlineError
from measure.geometry.features import Line
from measure.job import job, records, revisions
from measure.job.history import FOLDER as HISTORY
from measure.readings.readings import decoded, read_csv
from measure.steps.fit import fit
from measure.steps.gauge import gauge
from measure.steps.next import next_readings
from measure.steps.read import in_job, read, tools_of
from measure.steps.reconcile import reconcile
from measure.steps.set_aside import set_aside
from measure.steps.sketch import sketch
from measure.steps.trial import trial
from tests.benches import bench
from tests.jobs import estimate, plate, record, traced

NOTES = st.text(max_size=30) | st.sampled_from(["\0", "\x1b[2J", "# 1", '"', "a,b;c\td", "\u2028", "x" * 3000])
ENCODINGS = st.sampled_from(["utf-8", "utf-8-sig", "utf-16"])
IN_HISTORY = (f"{HISTORY}/99", f"{HISTORY}/²")
SAYINGS = st.sampled_from(["tight at E2", "loose at D1", "gap 0.2 at E1", "fits at E3", "too long 9 at E1", "x" * 3000])
ENDS = st.sampled_from(["\n", "\r\n", "\r"])


class JobMachine(RuleBasedStateMachine):
    """See the module."""

    def __init__(self) -> None:
        super().__init__()
        self.place = Path(tempfile.mkdtemp(prefix="jawline-fuzz-"))
        self.folder = self.place / "jobs" / "plate"
        self.open = ExitStack()
        self.count = 0
        self.told: set[str] = set()
        self.by_command: set[str] = set()

    @initialize()
    def begin(self) -> None:
        """A traced job, and a bench at it."""
        traced(self.folder)
        self.client = self.open.enter_context(bench(self.folder.parent))

    def teardown(self) -> None:
        """Nothing stays."""
        self.open.close()
        shutil.rmtree(self.place, ignore_errors=True)

    # ------------------------------------------------------------ commands
    def value(self) -> str:
        """A value that no other reading has."""
        self.count += 1
        return f"59.{self.count:04}"

    @rule(n=st.integers(1, 3))
    def reads_words(self, n: int) -> None:
        values = [self.value() for _ in range(n)]
        with contextlib.suppress(JawlineError):
            read(self.folder, [f"width E2 E4 {v}" for v in values])
            self.took(values)

    @rule(encoding=ENCODINGS, end=ENDS)
    def reads_a_file(self, encoding: str, end: str) -> None:
        value, path = self.value(), self.place / "x.csv"
        text = f"kind;features;value{end}width;E2 E4;{value.replace('.', ',')}{end}"
        path.write_bytes(text.encode(encoding))
        with contextlib.suppress(JawlineError):
            read(self.folder, [str(path)])
            self.took([value])

    def took(self, values: list[str]) -> None:
        self.told |= set(values)
        self.by_command |= set(values)

    @rule(what=st.sampled_from([reconcile, sketch, lambda f: fit(f, name="snug"), gauge, next_readings]))
    def steps(self, what: Any) -> None:
        with contextlib.suppress(JawlineError):
            what(self.folder)

    @rule(
        said=st.sampled_from(
            ["tight at E2", "loose at D1", "gap 0.2 at E1", "fits at E3", "too long 9 at E1", "x" * 3000]
        )
    )
    def tries_a_print(self, said: str) -> None:
        with contextlib.suppress(JawlineError):
            trial(self.folder, [said])

    @rule()
    def traces_another_part(self) -> None:
        """As `trace` does it: what no longer fits is set aside."""
        other = [replace(f, label=f"X{f.label[1:]}") if isinstance(f, Line) and f.loop == 0 else f for f in plate()]
        known = estimate(tuple(other))
        plain = record().model_copy(
            update={"features": tuple(records.feature_record(f) for f in known.features), "dimensions": ()}
        )
        with contextlib.suppress(JawlineError):
            aside = set_aside(self.folder, known, "part")
            files = {job.TRACE: records.to_text(plain).encode(), **(aside.files if aside else {})}
            job.write(self.folder, files, force=True, outdated=(job.MEASURED, *job.DRAWN), merged=(job.READINGS,))

    @rule()
    def traces_it_again(self) -> None:
        with contextlib.suppress(JawlineError):
            aside = set_aside(self.folder, estimate(), "part")
            files = {job.TRACE: records.to_text(record()).encode(), **(aside.files if aside else {})}
            job.write(self.folder, files, force=True, outdated=(job.MEASURED, *job.DRAWN), merged=(job.READINGS,))

    # ------------------------------------------------------------ the bench
    def state(self) -> dict[str, Any]:
        answer = self.client.get("/api/jobs/plate")
        assert answer.status_code == 200, answer.text
        return dict(answer.json())

    def post(self, what: str, asked: dict[str, Any]) -> Any:
        answer = self.client.post(f"/api/jobs/plate/{what}", json=asked)
        assert answer.status_code < 500, answer.text
        return answer

    @rule(note=NOTES)
    def adds_a_reading(self, note: str) -> None:
        value = self.value()
        asked = {"kind": "width", "features": ["E2", "E4"], "value": value, "note": note}
        try:
            answer = self.post("readings", asked)
        except UnicodeEncodeError:  # half a character, which no page can send
            return
        if answer.status_code == 200:
            self.told.add(value)

    @rule(at=st.integers(0, 20))
    def takes_one_out(self, at: int) -> None:
        seen = self.state()
        if not seen["readings"]:
            return
        one = seen["readings"][at % len(seen["readings"])]
        answer = self.client.delete(f"/api/jobs/plate/readings/{one['key']}", params={"revision": seen["revision"]})
        assert answer.status_code < 500, answer.text
        if answer.status_code == 200:
            self.forget(one["words"].split()[3])

    def forget(self, value: str) -> None:
        self.told.discard(value)
        self.by_command.discard(value)

    @rule()
    def undoes(self) -> None:
        """What the page itself has added may go; what a command has read stays."""
        answer = self.post("undo", {"revision": self.state()["revision"]})
        if answer.status_code == 200:
            self.told = (self.told & self.written()) | self.by_command

    @rule(
        said=st.sampled_from(["tight at E2", "gap 0.3 at E1"]), what=st.sampled_from(["sketch", "solid", "worksheet"])
    )
    def asks_the_page(self, said: str, what: str) -> None:
        self.post("make", {"what": what})
        self.post("trial", {"said": said, "revision": self.state()["revision"]})

    # ------------------------------------------------------------ by hand
    @rule(encoding=ENCODINGS, end=ENDS)
    def saves_the_readings_otherwise(self, encoding: str, end: str) -> None:
        with contextlib.suppress(JawlineError, FileNotFoundError):
            text = decoded((self.folder / job.READINGS).read_bytes())
            (self.folder / job.READINGS).write_bytes(end.join([*text.splitlines(), ""]).encode(encoding))

    @rule()
    def adds_a_line(self) -> None:
        value, path = self.value(), self.folder / job.READINGS
        with contextlib.suppress(JawlineError):
            text = decoded(path.read_bytes()) if path.exists() else ""
            rows = text.splitlines() or ["kind,features,value"]
            mark = next((m for m in "\t;," if m in rows[0]), ",")
            path.write_bytes("\n".join([*rows, f"width{mark}E2 E4{mark}{value}", ""]).encode())
            self.took([value])

    @rule(name=st.sampled_from([HISTORY, revisions.FOLDER, job.MANIFEST, job.MEASURED, "bench.json", job.TRIALS]))
    def removes(self, name: str) -> None:
        path = self.folder / name
        shutil.rmtree(path, ignore_errors=True) if path.is_dir() else path.unlink(missing_ok=True)

    @rule(at=st.integers(0, 50), name=st.sampled_from([HISTORY, revisions.FOLDER]))
    def removes_a_file_of(self, at: int, name: str) -> None:
        found = sorted(p for p in (self.folder / name).rglob("*") if p.is_file())
        if found:
            found[at % len(found)].unlink()

    @rule(
        name=st.sampled_from(
            [HISTORY, revisions.FOLDER, job.MEASURED, job.TRIALS, "bench.json", f"{HISTORY}/99", f"{HISTORY}/²"]
        ),
        kind=st.sampled_from(["pipe", "link", "folder", "junk"]),
    )
    def has_something_odd_for_a_while(self, name: str, kind: str) -> None:
        """It stands in a file's place while the page is asked and a command run; then what was there is back."""
        path, kept = self.folder / name, self.place / "kept"
        path.parent.mkdir(exist_ok=True)
        if os.path.lexists(path):
            path.rename(kept)
        if kind == "pipe":
            os.mkfifo(path)
        elif kind == "link":
            path.symlink_to(self.place)
        elif kind == "folder":
            path.mkdir()
        else:
            path.write_bytes(b"\x89junk\0\xff")
        self.state()
        assert self.client.get("/api/jobs").status_code == 200
        self.adds_a_reading("")
        self.reads_words(1)
        for odd in (path,):
            shutil.rmtree(odd, ignore_errors=True) if odd.is_dir() and not odd.is_symlink() else odd.unlink(
                missing_ok=True
            )
        if kept.exists():
            kept.rename(path)

    # ------------------------------------------------------------ sudden ends
    @rule(after_s=st.floats(0, 0.05), what=st.sampled_from(["read", "reconcile", "trial"]))
    def is_killed(self, after_s: float, what: str) -> None:
        """A command in a process of its own, ended somewhere on its way."""
        value = self.value()
        near, far = os.pipe()
        pid = os.fork()
        if not pid:
            try:
                if what == "read":
                    read(self.folder, [f"width E2 E4 {value}"])
                    os.write(far, b"done")
                elif what == "reconcile":
                    reconcile(self.folder)
                else:
                    trial(self.folder, ["tight at E2"])
            finally:
                os._exit(0)
        os.close(far)
        time.sleep(after_s)
        os.kill(pid, signal.SIGKILL)
        os.waitpid(pid, 0)
        with os.fdopen(near) as f:
            if f.read() == "done":
                self.took([value])

    # ------------------------------------------------------------ what always holds
    def written(self) -> set[str]:
        """The readings in all files of readings."""
        out: set[str] = set()
        for path in self.folder.glob("readings*.csv"):
            with contextlib.suppress(JawlineError):
                out |= {r.written for r in read_csv(path.read_bytes(), tools_of(self.folder, None))}
        return out

    @invariant()
    def nothing_is_lost_and_all_is_shown(self) -> None:
        """See the module."""
        if not hasattr(self, "client"):
            return
        lost = self.told - self.written()
        assert not lost, f"lost: {lost}"
        seen = self.state()
        path = self.folder / job.READINGS
        there = in_job(path.read_bytes(), job.READINGS, tools_of(self.folder, None)) if path.exists() else ()
        assert len(seen["readings"]) == len(there) or seen["refusal"] or seen["cautions"], seen
