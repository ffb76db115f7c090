"""``kill -9`` at every moment of something that writes: what it leaves, moment by moment."""

from __future__ import annotations

import json
import signal
import subprocess
import sys
from pathlib import Path

# For every moment a child of its own, in a copy of the folder, that kills itself just before that call to
# anything that touches the disc; moments count from the first that changes something.
_VICTIMS = """
import json, os, pathlib, shutil, signal, sys

folder, *others = map(pathlib.Path, sys.argv[1:])
DEADLY = (
    (os, "fsync"), (os, "open"), (pathlib.Path, "mkdir"), (pathlib.Path, "rename"), (pathlib.Path, "replace"),
    (pathlib.Path, "open"),
)

def act(place):
{action}

def child(place, moment):
    left = moment
    writing = False
    def mortal(owner, name):
        true = getattr(owner, name)
        def call(*args, **kwargs):
            nonlocal left, writing
            writing = writing or name in ("mkdir", "rename", "replace") or (name == "open" and "w" in args)
            if writing and left == 0:
                os.kill(os.getpid(), signal.SIGKILL)
            left -= writing
            return true(*args, **kwargs)
        setattr(owner, name, call)
    for owner, name in DEADLY:
        mortal(owner, name)
    act(place)

{imports}
ends = []
for moment in range(200):
    place = folder.with_name(f"copy-{{moment}}")
    shutil.copytree(folder, place)
    pid = os.fork()
    if pid == 0:
        child(place, moment)
        os._exit(0)
    status = os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1])
    ends.append(status)
    if status == 0:
        break
print(json.dumps(ends))
"""


def killed_at_every_moment(folder: Path, imports: str, action: str, *others: Path) -> list[Path]:
    """Copies of a folder in which something was killed, a moment later in each; in the last it ended well.

    Parameters
    ----------
    folder : Path
        Stays as it is.
    imports : str
        Lines that import what the action needs.
    action : str
        One expression that acts on ``place``, a copy of the folder; ``others`` are paths that it may use.
    """
    script = _VICTIMS.format(imports=imports, action=f"    {action}")
    command = [sys.executable, "-c", script, *map(str, (folder, *others))]
    ended = subprocess.run(command, capture_output=True, text=True, timeout=240, check=True)
    ends = json.loads(ended.stdout)
    assert set(ends[:-1]) == {-signal.SIGKILL} and ends[-1] == 0, ended.stderr
    return [folder.with_name(f"copy-{moment}") for moment in range(len(ends))]
