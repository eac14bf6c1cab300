"""README's "Set it up on the Pi", walked literally on a bare Debian: `sh deploy/walk.sh [bookworm] [trixie]`, as root or with sudo.

The commands are taken out of README itself, so that the page and this walk cannot drift apart. debootstrap makes the bare Debian in
a folder; there a person's account with `sudo` types them one after the other, in login shells as the page has them, and each must
end well. Then a node speaks with the node's account, and the person sees its reading, and gets the test message; and a node that names another
site is named to the person.

What is not as on a Pi, and why:
- The folder is copied, in place of the `scp` from another computer.
- `sudo` asks for no password; a node's password comes from a file in place of a keyboard, and what README says to type in an editor
  is written by `_edit`.
- No systemd runs in a folder. `systemctl` is a small stand-in (`_systemctl`): it reads the real unit files and starts their programs
  with their account, umask and state folder. The unit's other restrictions are not tried here.
- Debian's packages start nothing when they are installed; and its mirror, Python's packages and the name service are reached with
  this machine's own certificates.

Standard library only: it runs before anything is installed. Processes end with the walk, for it has a process namespace of its own.
"""

from __future__ import annotations

import http.server
import os
import pwd
import re
import runpy
import shlex
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[1]
FOUND_IN = "## Set it up on the Pi"
SUITES = ("bookworm", "trixie")
PERSON = "keeper"
NODE_PASSWORD = "wet hands at night"
DRY_BULB_C = 37.8
STEP_S = 900  # the longest step fetches and installs every library
ARCHIVES = "/var/lib/eggroom/archives"
MARK = "--- that was"
SERVICE_S = 3.0  # a program that has not ended by then has started
# The sample's other nodes, which do not speak here.
SILENT = "BAD probes: silent: node-b/top, node-c/top, node-room/wall"
# README says that it is meant so.
EXPECTED_WARNING = "ACL pattern 'eggroom/+/service/alive' does not contain '%c' or '%u'."

SLIP = """
import sys
from paho.mqtt import publish
host, port, user, password, topic = sys.argv[1:]
auth = {"username": user, "password": password}
publish.single(topic + "status", "online", 1, True, hostname=host, port=int(port), auth=auth)
"""

# A node's voice, under its own account, until the daemon says that its last message is on the disk.
VOICE = """
import json, sys, time
import paho.mqtt.client as mqtt
host, port, user, password, topic, probe, value = sys.argv[1:]
stored = []
client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2)
client.username_pw_set(user, password)
client.on_message = lambda c, u, message: stored.append(json.loads(message.payload)["seq"])
client.connect(host, int(port))
client.subscribe(topic + "stored", 1)
client.loop_start()
client.publish(topic + "status", "online", 1, True).wait_for_publish(10)
for seq in range(4):
    pack = [{"bn": topic.split("/")[-2] + "/", "n": probe + "/t", "u": "Cel", "v": float(value), "boot": 91, "seq": seq, "up": 100 + seq}]
    pack.append({"n": probe + "/rh", "u": "%RH", "v": 55.0})
    client.publish(topic + "air", json.dumps(pack), 1).wait_for_publish(10)
    time.sleep(1.0)
end = time.monotonic() + 20
while 3 not in stored and time.monotonic() < end:
    time.sleep(0.1)
print("stored up to", max(stored, default=None))
sys.exit(3 not in stored)
"""


class Stumbled(Exception):
    """A step that does not do what the page promises."""


def commands(readme: str) -> list[list[str]]:
    """The commands of README's steps for the Pi, block by block: its fenced blocks of `sh`; those for another computer say so."""
    _, _, section = readme.partition(FOUND_IN)
    section = section.split("\n## ")[0]
    return [block.splitlines() for block in re.findall(r"^```sh\n(.*?)\n```$", section, re.MULTILINE | re.DOTALL)]


def main(arguments: Sequence[str]) -> int:
    """Walk on each Debian named, or on all; 0 when every step did what the page promises."""
    unknown = [name for name in arguments if name not in SUITES]
    if unknown:
        return _complain(f"{unknown[0]}: expected one of: {', '.join(SUITES)}")
    if os.geteuid() != 0:
        return _complain("needs root: a Debian in a folder is made and entered, expected `sh deploy/walk.sh`")
    for program in ("debootstrap", "unshare"):
        if shutil.which(program) is None:
            return _complain(f"{program} is not installed, expected `sh deploy/walk.sh`, which installs it")
    port = _node_settings()["BROKER_PORT"]
    with socket.socket() as probe:
        if probe.connect_ex(("127.0.0.1", port)) == 0:
            return _complain(
                f"port {port}: somebody listens there already, expected it free for the broker of the walk"
            )
    walked = [_walk_on(suite) for suite in arguments or SUITES]
    return 0 if all(walked) else 1


def _complain(text: str) -> int:
    sys.stderr.write(f"walk: {text}\n")
    return 2


def _walk_on(suite: str) -> bool:
    began_s = time.monotonic()
    with tempfile.TemporaryDirectory(prefix=f"walk-{suite}-") as name:
        Path(name).chmod(0o755)  # the root of a system, which everybody may look into
        _say(f"# {suite}: a bare Debian")
        subprocess.run(
            ["debootstrap", "--variant=minbase", "--include=sudo,ca-certificates", suite, name],
            check=True,
            stdout=subprocess.DEVNULL,
        )
        inside = ["unshare", "--fork", "--pid", "--mount", "--kill-child", sys.executable, __file__, "--inside", name]
        good = subprocess.run(inside, check=False).returncode == 0
    _say(f"# {suite}: {'walked to the end' if good else 'STUMBLED'}, {time.monotonic() - began_s:.0f} s")
    return good


def _inside(folder: Path) -> int:
    """In a process and mount namespace of its own."""
    _prepare(folder)
    person = Person(folder)
    try:
        _walk(folder, person)
    except Stumbled as error:
        _say(f"stumbled: {error}")
        for log in ("var/log/eggroom.walk", "var/log/mosquitto/mosquitto.log", "var/log/mosquitto.walk"):
            if (folder / log).exists():
                _say(f"--- {log}\n{(folder / log).read_text(errors='replace')[-3000:]}")
        return 1
    return 0


def _prepare(folder: Path) -> None:
    """What a Pi has before the page's first line: a person with sudo, the network, the folder; and the stand-ins."""
    for kind, place in (("proc", "proc"), ("devpts", "dev/pts")):
        (folder / place).mkdir(exist_ok=True)
        subprocess.run(["mount", "-t", kind, kind, str(folder / place)], check=True)
    for name in ("etc/resolv.conf", "etc/hosts", "etc/ssl/certs/ca-certificates.crt"):
        if (Path("/") / name).exists():
            shutil.copy(Path("/") / name, folder / name)
    _write(folder / "etc/pip.conf", "[global]\ncert = /etc/ssl/certs/ca-certificates.crt\n")
    _write(folder / "usr/sbin/policy-rc.d", "#!/bin/sh\nexit 101\n", 0o755)
    _enter(folder, "useradd", "--create-home", "--shell", "/bin/bash", PERSON)
    _write(folder / "etc/sudoers.d/walk", f"{PERSON} ALL=(ALL:ALL) NOPASSWD: ALL\n", 0o440)
    home = folder / "home" / PERSON
    leave = shutil.ignore_patterns(".git", ".venv", ".*_cache", ".hypothesis", "__pycache__")
    shutil.copytree(ROOT, home / "eggroom", ignore=leave)
    _enter(folder, "chown", "-R", f"{PERSON}:{PERSON}", f"/home/{PERSON}")
    shutil.copy(__file__, folder / "usr/local/lib/walk.py")
    stand_in = '#!/bin/sh\nexec python3 /usr/local/lib/walk.py --systemctl "$@"\n'
    _write(folder / "usr/local/sbin/systemctl", stand_in, 0o755)
    _write(folder / "tmp/answers", f"{NODE_PASSWORD}\n{NODE_PASSWORD}\n", 0o644)


def _walk(folder: Path, person: Person) -> None:
    """The page's steps in its order, then what it promises."""
    phone = Phone()
    for block in commands((ROOT / "README.md").read_text(encoding="utf-8")):
        last = any(line.startswith("eggroom health") for line in block)
        if last:
            _speak(folder)
        for line in block:
            code, said = person.types(line)
            if line == "eggroom health":
                bad = [found for found in said.splitlines() if found.startswith("BAD")]
                _must(bad == [SILENT], f"health found {bad}, expected {SILENT!r} alone")
            else:
                _must(code == 0, f"{line!r} ended with {code}, expected 0")
            if line == "eggroom room":
                _must(f"{DRY_BULB_C:.1f}" in said, f"room shows no {DRY_BULB_C}, which the node sent")
        if any("/etc/eggroom/contact-me" in line for line in block):
            _edit(folder, phone)
    _must(
        any("If this woke you" in text for text in phone.heard),
        f"the phone heard {phone.heard}, expected the test message",
    )
    _slip(folder)
    _must(
        "speaks, but as site 'barn'" in person.types("eggroom health")[1],
        "health does not name the node of another site",
    )
    for line in (  # what a person does from then on, with an account that may not read the secrets
        "cd ~",
        "eggroom batch add hen-1 --species chicken --machine setter-1 --eggs 24",
        "eggroom batch list",
        "eggroom history hen-1",
        "eggroom contact list",
        "eggroom backup copy.db",
        "eggroom alarms",
        "eggroom refused",
        "eggroom room",
        "eggroom batch add hen-0 --species chicken --machine setter-1 --eggs 24 --set -25d",
        "eggroom batch close hen-0 --at -2d --sure",
        "sudo systemctl start eggroom-archive",  # as its timer does each day
        f"eggroom history --archive {ARCHIVES}/hen-0.zip",
        f"cp {ARCHIVES}/* .",
    ):
        code, said = person.types(line)
        _must(code == 0, f"{line!r} ended with {code}, expected 0")
    archived = [check for check in person.types("eggroom health")[1].splitlines() if "archives: " in check]
    _must(
        archived == [f"ok  archives: {ARCHIVES}: 1 of 1 closed batches"],
        f"health says {archived}, expected one archive",
    )
    log = (folder / "var/log/mosquitto/mosquitto.log").read_text(errors="replace")
    odd = [line for line in log.splitlines() if re.search("warning|error|denied|unable", line, re.IGNORECASE)]
    odd = [line for line in odd if not line.endswith(EXPECTED_WARNING)]
    _must(not odd, f"the broker's log holds {odd[:3]}, expected no such line but that README names")
    person.leaves()


def _must(true: bool, otherwise: str) -> None:
    if not true:
        raise Stumbled(otherwise)


def _edit(folder: Path, phone: Phone) -> None:
    """What README says to type into an editor: the address into its file, and the # away before the contact."""
    _say(f"[the editor: an address into /etc/eggroom/contact-me, and the # away before the [[contact]] of {PERSON}]")
    (folder / "etc/eggroom/contact-me").write_text(f"json://127.0.0.1:{phone.port}/\n")
    config = folder / "etc/eggroom/eggroom.toml"
    head, mark, rest = config.read_text().partition("# [[contact]]\n")
    _must(bool(mark), "the sample has no contact to take the # from")
    contact, gap, rest = rest.partition("\n\n")
    config.write_text(head + re.sub(r"(?m)^# ", "", mark + contact) + gap + rest)


def _speak(folder: Path) -> None:
    """The node of firmware_stub/settings.py, with the account that README's step gave it."""
    node = _node_settings()
    topic = f"{node['ROOT']}/{node['SITE']}/{node['NODE']}/"
    (probe, *_), *_ = node["PROBES"]
    _say(f"[the node {node['NODE']} speaks: {probe} {DRY_BULB_C} on {topic}air]")
    done = _as_node(folder, VOICE, node, topic, probe, str(DRY_BULB_C))
    _must(done == 0, "the node was not told that its readings are stored")


def _slip(folder: Path) -> None:
    """The same node with another SITE than the configuration's."""
    node = _node_settings()
    topic = f"{node['ROOT']}/barn/{node['NODE']}/"
    _say(f"[the node {node['NODE']} speaks as another site: {topic}status]")
    _must(_as_node(folder, SLIP, node, topic) == 0, "the broker did not take the node's word")
    time.sleep(1.0)


def _as_node(folder: Path, program: str, node: dict[str, Any], *more: str) -> int:
    """Perform a program under the node's account; its exit code."""
    login = ("127.0.0.1", str(node["BROKER_PORT"]), node["BROKER_USER"], NODE_PASSWORD)
    done = subprocess.run(
        ["chroot", str(folder), "/opt/eggroom/bin/python", "-c", program, *login, *more],
        check=False,
        capture_output=True,
        text=True,
    )
    _say(done.stdout + done.stderr)
    return done.returncode


def _node_settings() -> dict[str, Any]:
    return runpy.run_path(str(ROOT / "firmware_stub" / "settings.py"))


class Person:
    """Somebody at a login shell of the Debian in the folder; `exit` logs out, and the next command logs in again."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._shell: subprocess.Popen[str] | None = None

    def types(self, line: str) -> tuple[int, str]:
        """One command: its exit code and what it printed. Raises Stumbled when it takes too long."""
        _say(f"$ {line}")
        if line == "exit":
            self.leaves()
            return 0, ""
        shell = self._logged_in()
        assert shell.stdin is not None
        assert shell.stdout is not None
        shell.stdin.write(f'{{ {line}\n}} </tmp/answers; echo "{MARK} $?"\n')
        shell.stdin.flush()
        said: list[str] = []
        signal.signal(signal.SIGALRM, _late)
        signal.alarm(STEP_S)
        for out in shell.stdout:
            if out.startswith(MARK):
                signal.alarm(0)
                return int(out.split()[-1]), "".join(said)
            said.append(out)
            if not line.startswith(("sudo apt-get", "sudo /opt/eggroom/bin/pip")):
                _say(out)
        raise Stumbled(f"{line!r}: the shell ended, expected it to go on; {''.join(said)[-500:]}")

    def leaves(self) -> None:
        """Log out."""
        if self._shell is not None:
            self._shell.communicate("exit\n", timeout=30)
            self._shell = None

    def _logged_in(self) -> subprocess.Popen[str]:
        if self._shell is None:
            self._shell = subprocess.Popen(
                ["chroot", str(self._folder), "su", "-", PERSON],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=subprocess.STDOUT,
                text=True,
                env={"PATH": "/usr/sbin:/usr/bin:/sbin:/bin", "LANG": "C.UTF-8"},
            )
            assert self._shell.stdin is not None
            self._shell.stdin.write("set -o pipefail\n")
        return self._shell


def _late(*_: object) -> None:
    raise Stumbled(f"no end after {STEP_S} s")


class Phone:
    """Takes what is sent to the address in contact-me."""

    def __init__(self) -> None:
        self.heard: list[str] = []
        heard = self.heard

        class Handler(http.server.BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                heard.append(self.rfile.read(int(self.headers["Content-Length"])).decode())
                self.send_response(200)
                self.end_headers()

            def log_message(self, format: str, *args: object) -> None:
                pass

        server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self.port = server.server_port
        threading.Thread(target=server.serve_forever, daemon=True).start()


def _say(text: str) -> None:
    sys.stdout.write(text if text.endswith("\n") else f"{text}\n")
    sys.stdout.flush()


def _write(path: Path, text: str, mode: int = 0o644) -> None:
    path.write_text(text)
    path.chmod(mode)


def _enter(folder: Path, *command: str) -> None:
    subprocess.run(["chroot", str(folder), *command], check=True)


# --- in the place of systemctl


def _systemctl(arguments: Sequence[str]) -> int:
    """daemon-reload; enable --now, start and restart of one unit: its real file, its program, account, umask and state folder. Of a timer
    its service is started at once, and must end well; that it would be at its time is what no folder shows."""
    verb, names = arguments[0], [a for a in arguments[1:] if not a.startswith("-")]
    if verb == "daemon-reload":
        return 0
    if verb not in ("enable", "start", "restart") or len(names) != 1:
        return _complain(f"systemctl {' '.join(arguments)}: the walk has no stand-in for it")
    (name,) = names
    kind = name.rpartition(".")[2] if name.endswith((".service", ".timer")) else "service"
    name = name.removesuffix(f".{kind}")
    found, installable = _unit(name, kind)
    if verb == "enable" and not installable:
        return _complain(f"{name}.{kind}: no [Install] in its unit, expected one to enable")
    if verb == "enable" and "--now" not in arguments:
        return 0
    if kind == "timer" and not found.get("OnCalendar"):
        return _complain(f"{name}.timer: no OnCalendar in it, expected when it is due")
    service = found if kind == "service" else _unit(name, "service")[0]
    pid_file = Path(f"/run/{name}.walk")
    if pid_file.exists():
        if verb != "restart":
            return 0
        _end(int(pid_file.read_text()))
    account = pwd.getpwnam(service.get("User", ["root"])[-1])
    for folder in service.get("StateDirectory", []):
        place = Path("/var/lib") / folder
        place.mkdir(exist_ok=True)
        os.chown(place, account.pw_uid, account.pw_gid)
        place.chmod(int(service.get("StateDirectoryMode", ["0755"])[-1], 8))
    for before in service.get("ExecStartPre", []):
        subprocess.run(shlex.split(before), check=True)
    log = Path(f"/var/log/{name}.walk")
    with log.open("ab") as out:
        process = subprocess.Popen(
            shlex.split(service["ExecStart"][-1]),
            stdin=subprocess.DEVNULL,
            stdout=out,
            stderr=out,
            cwd="/",
            env={"PATH": "/usr/local/sbin:/usr/local/bin:/usr/sbin:/usr/bin", "LANG": "C.UTF-8"},
            user=account.pw_uid,
            group=account.pw_gid,
            extra_groups=os.getgrouplist(account.pw_name, account.pw_gid),
            umask=int(service.get("UMask", ["0022"])[-1], 8),
            start_new_session=True,
        )
    once = service.get("Type") == ["oneshot"]
    try:
        code = process.wait(STEP_S if once else SERVICE_S)
        if once and code == 0:
            return 0
    except subprocess.TimeoutExpired:
        pid_file.write_text(str(process.pid))
        return 0
    return _complain(f"{name} ended with {code}: {log.read_text(errors='replace')[-1000:]}")


def _unit(name: str, kind: str) -> tuple[dict[str, list[str]], bool]:
    """The settings under [Service] or [Timer], each with its values in order; and whether there is an [Install]."""
    for folder in ("/etc/systemd/system", "/usr/lib/systemd/system", "/lib/systemd/system"):
        path = Path(folder) / f"{name}.{kind}"
        if path.exists():
            break
    else:
        raise SystemExit(_complain(f"{name}.{kind}: no such unit"))
    settings: dict[str, list[str]] = {}
    section, installable = "", False
    for line in path.read_text().splitlines():
        if line.startswith("["):
            section = line
            installable = installable or section == "[Install]"
        elif section == f"[{kind.capitalize()}]" and "=" in line and not line.startswith("#"):
            key, _, value = line.partition("=")
            settings.setdefault(key, []).append(value)
    return settings, installable


def _end(pid: int) -> None:
    os.kill(pid, signal.SIGTERM)
    for _ in range(300):
        try:
            os.kill(pid, 0)
        except ProcessLookupError:
            return
        if Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] == "Z":
            return
        time.sleep(0.1)
    raise SystemExit(_complain(f"process {pid} did not end"))


if __name__ == "__main__":
    if sys.argv[1:2] == ["--systemctl"]:
        sys.exit(_systemctl(sys.argv[2:]))
    if sys.argv[1:2] == ["--inside"]:
        sys.exit(_inside(Path(sys.argv[2])))
    sys.exit(main(sys.argv[1:]))
