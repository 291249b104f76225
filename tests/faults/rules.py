"""The rules are read again while the daemon runs, from files that a hand may have slipped in."""
import stage
from rows import row


def lines_with_values(text):
    """Places in the text of each value: what stands behind an equals sign that is no comment's."""
    at = 0
    for line in text.splitlines(keepends=True):
        if "=" in line.partition("#")[0]:
            yield at + line.index("=") + 1, at + len(line) - 1
        at += len(line)


@row("34", "a broken policy file at a reload", "each value of it broken in turn, under load", 8)
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
