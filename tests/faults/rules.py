"""The rules are read again while the daemon runs, from files that a hand may have slipped in."""
import re
import signal
import time

import stage
from rows import row

SETTING = re.compile(r"^(\w+) = .*$", re.MULTILINE)


def lines_with_values(text):
    """Places in the text of each value: what stands behind an equals sign that is no comment's."""
    at = 0
    for line in text.splitlines(keepends=True):
        if "=" in line.partition("#")[0]:
            yield at + line.index("=") + 1, at + len(line) - 1
        at += len(line)


@row("34a", "a broken policy file at a reload", "each value of it broken in turn, under load", 8)
def broken_rules(scene):
    """The rules before stay in use, and the operator, the metrics and the log say so; mended, they are taken."""
    policy = scene.folder / "policy.toml"
    good = stage.POLICY.read_text()
    policy.write_text(good)
    scene.config.write_text(scene.config.read_text().replace(str(stage.POLICY), str(policy)))
    scene.open()
    scene.check(("dwelld_last_reload_successful",) not in scene.metrics(), "a reload is told of that was not asked for")
    scene.devices_at_work(2, pause_s=0.02)
    tried = 0
    for begin, end in lines_with_values(good):
        policy.write_text(good[:begin] + ' "\N{GREEK SMALL LETTER OMEGA} canary-policy"' + good[end:])
        code, text = scene.dwell("check")
        if code == 0:
            continue  # legal all the same: the policy's own name
        tried += 1
        code, text = scene.dwell("reload", "--by", "N1", "--why", "a new policy")
        scene.check(code != 0 and "policy.toml:" in text, f"a broken file is taken, or not named: {code} {text[-200:]}")
        scene.check(scene.metrics()["dwelld_last_reload_successful",] == 0, "the metrics do not say so")
    told = scene.log_lines("rules-not-read-again")
    scene.check(len(told) == tried > 15, f"{tried} broken files, {len(told)} lines in the log")
    scene.check("canary-policy" not in scene.log.read_text(errors="replace"), "a value of the file is in the log")
    policy.write_text(good.replace('version = "1"', 'version = "1.1"'))
    code, text = scene.dwell("reload", "--by", "N1", "--why", "a new policy")
    scene.check(code == 0 and "1.1" in text, f"the mended file is not taken: {text}")
    scene.check(scene.metrics()["dwelld_last_reload_successful",] == 1, "the metrics do not say that it was taken")
    scene.note(f"{tried} broken files refused")


def broken(text):
    """The text with each of its settings in turn of a kind that none takes, and its name."""
    for found in SETTING.finditer(text):
        yield found[1], text[:found.start()] + found[1] + " = [[]]" + text[found.end():]
    yield "no TOML", text + "\n[["


def refused(scene, file, text, name):
    file.write_text(text)
    before = len(scene.log_lines("rules-not-read-again"))
    scene.daemon.process.send_signal(signal.SIGHUP)
    told = scene.wait_for(f"a refusal of {name}", lambda: scene.log_lines("rules-not-read-again")[before:])
    scene.check(file.name in told[0]["why"], f"{name}: the log does not name {file.name}: {told[0]}")
    scene.check("refused_at" in scene.status()["in_force"], f"{name}: the status does not tell of it")


@row("34b", "SIGHUP while a file is broken", "each setting of configuration and policy in turn, under load; then a right one",
     12)
def broken_reload(scene):
    config = scene.config
    policy = scene.folder / "policy.toml"
    shipped = re.search(r'^\[policy\]\nfile = "(.*)"$', config.read_text(), re.MULTILINE)[1]
    policy.write_text((config.parent / shipped).read_text())
    right = config.read_text().replace(shipped, str(policy))
    config.write_text(right)
    scene.open()
    in_force = scene.status()["in_force"]
    scene.devices_at_work(2, pause_s=0.01)
    tried = 0
    for file, good in ((config, right), (policy, policy.read_text())):
        for name, text in broken(good):
            refused(scene, file, text, name)
            now = scene.status()["in_force"]
            scene.check({**now, "refused_at": 0} == {**in_force, "refused_at": 0}, f"{name}: not as it was: {now}")
            tried += 1
        file.write_text(good)
    scene.note(f"{tried} broken files, each refused")
    policy.write_text(policy.read_text().replace('version = "1"', 'version = "2"'))
    scene.daemon.process.send_signal(signal.SIGHUP)
    scene.wait_for("the new policy", lambda: scene.status()["in_force"]["version"] == "2")
    scene.wait_for("the lines to follow", lambda: "lines_to_follow" not in scene.status()["in_force"])
    scene.check("refused_at" not in scene.status()["in_force"], "the refusal is still told of")
    time.sleep(0.2)  # some events by the new one
