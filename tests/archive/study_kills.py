#!/usr/bin/env python3
"""Kills a restitch run at random instants and compares what comes of it with an undisturbed one.

    study_kills.py PROGRAM TEMPLATE FRAMES_DIR WORK_DIR [SHOTS=200] [KILLS=50] [SEED=1] [AT_ONCE=1]

FRAMES_DIR holds <name>_front.tif and <name>_back.tif; they are copied under new names until there are
SHOTS of them. Run by hand; tests/cli/restitch_command_test.cc does the same in small. AT_ONCE shots go side by side.
"""
import hashlib
import json
import pathlib
import random
import shutil
import subprocess
import sys
import time


def tree(folder):
    """Every file but the journal, by name: SHA-256 of its bytes."""
    return {
        str(file.relative_to(folder)): hashlib.sha256(file.read_bytes()).hexdigest()
        for file in sorted(folder.rglob("*"))
        if file.is_file() and ".restitch" not in file.parts
    }


def events(folder, kind):
    journal = (folder / ".restitch" / "journal.log").read_text()
    return sum(json.loads(line[17:])["event"] == kind for line in journal.splitlines())


def main():
    program, template, frames, work = sys.argv[1:5]
    usual = ["200", "50", "1", "1"]
    shots, kills, seed, at_once = (int(v) for v in sys.argv[5:] + usual[len(sys.argv) - 5 :])
    work = pathlib.Path(work)
    card = work / "card"
    card.mkdir(parents=True, exist_ok=True)
    fronts = sorted(pathlib.Path(frames).glob("*_front.tif"))
    for i in range(shots):
        front = fronts[i % len(fronts)]
        for lens in ("front", "back"):
            copy = card / f"room{i:03}_{lens}.tif"
            if not copy.exists():
                shutil.copy(front.with_name(front.name.replace("_front", f"_{lens}")), copy)

    def command(out):
        return [program, "restitch", str(card), "--template", template, "--out", str(work / out),
                "--width", "512", "--seam", "plain", "--jpeg", "--at-once", str(at_once),
                "--pattern", r"(?<shot>room\d+)_(?<lens>front|back)\.tif"]

    begin = time.monotonic()
    code = subprocess.run(command("whole"), stderr=subprocess.DEVNULL).returncode
    whole_s = time.monotonic() - begin
    print(f"undisturbed: exit {code}, {whole_s:.1f} s, {shots} shots")

    random.seed(seed)
    hit = 0
    for _ in range(kills):
        run = subprocess.Popen(command("killed"), stderr=subprocess.DEVNULL)
        time.sleep(random.uniform(0.02, 2.2 * whole_s / kills))
        if run.poll() is None:
            hit += 1
        run.kill()
        run.wait()
    done_before = events(work / "killed", "done")
    code = subprocess.run(command("killed"), stderr=subprocess.DEVNULL).returncode
    same = tree(work / "whole") == tree(work / "killed")
    begun = events(work / "killed", "begin")
    print(f"killed {hit} times at work; {done_before} shots done by then; resumed: exit {code}")
    print(f"same bytes: {same}; shots begun {begun}, {begun - shots} of them again")
    print(f"files that are no output: "
          f"{[name for name in tree(work / 'killed') if name not in tree(work / 'whole')]}")
    return 0 if same and begun <= shots + at_once * hit else 1


sys.exit(main())
