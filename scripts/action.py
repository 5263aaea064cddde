#!/usr/bin/env python3
"""How much of what moves a vertical window by `moves.action` holds, by a measure that it is not made from.

Run by hand, never by a test:

    python3 -m venv VENV && VENV/bin/pip install numpy opencv-python-headless
    VENV/bin/python scripts/action.py STILLPATH SOURCE [--every FRAMES] [--fps FPS] [--calm CALM]

SOURCE is a folder of stills or a recording. What moves is what OpenCV's MOG2 background subtractor calls foreground in the
stills that the plan shows, shadows apart, opened by 3 x 3. Printed are the shares of that area, over all frames, in the
planned windows, in the window of that size in the middle, in the best one that stays, and in the best one of every frame by
itself: no window of that size, however it moves, holds more. The first tenth teaches MOG2 the background and does not count.
"""

import argparse
import json
import os
import subprocess
import tempfile

import cv2
import numpy as np

WIDE = 768


def planned(stillpath, source, fps, every, calm):
    kind = "stills" if os.path.isdir(source) else "recording"
    policies = ', missing = "skip", damaged = "skip"'
    script = f"""local moves = require "moves"
return shot {{ source = {kind} {{ {json.dumps(os.path.abspath(source))}{policies} }}, fps = {fps}, pace = frames_per_still({every}),
framing = moves.action {{ zoom = 1, calm = {calm} }}, deliveries = {{ delivery {{ "vertical", frame = {{ 216, 384 }} }} }} }}"""
    with tempfile.TemporaryDirectory() as folder:
        path = os.path.join(folder, "vertical.lua")
        with open(path, "w", encoding="utf-8") as file:
            file.write(script)
        out = subprocess.run([stillpath, "plan", path, "--json"], check=True, capture_output=True).stdout
    rows = json.loads(out)["plans"][0]["deliveries"][0]["rows"]
    return [(row["shown"], [row["window"][side] for side in ("x", "y", "width", "height")]) for row in rows]


def stills(stillpath, source):
    """Every whole still's slot and picture."""
    if os.path.isdir(source):
        out = subprocess.run([stillpath, "survey", source, "--json"], check=True, capture_output=True).stdout
        for slot, entry in enumerate(json.loads(out)["slots"]):
            whole = entry["content"].get("whole") if isinstance(entry["content"], dict) else None
            picture = cv2.imread(whole["path"]) if whole else None
            if picture is not None:
                yield slot, picture
    else:
        video = cv2.VideoCapture(source)
        slot = 0
        while True:
            more, picture = video.read()
            if not more:
                return
            yield slot, picture
            slot += 1


def main():
    told = argparse.ArgumentParser()
    told.add_argument("stillpath")
    told.add_argument("source")
    told.add_argument("--every", type=int, default=1, help="frames a still")
    told.add_argument("--fps", type=int, default=24)
    told.add_argument("--calm", type=float, default=0.8)
    told = told.parse_args()
    rows = planned(told.stillpath, told.source, told.fps, told.every, told.calm)
    subtractor = cv2.createBackgroundSubtractorMOG2(history=200, varThreshold=16, detectShadows=True)
    shape = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (3, 3))
    columns, size = {}, None
    for slot, picture in stills(told.stillpath, told.source):
        size = (picture.shape[1], picture.shape[0])
        small = cv2.resize(picture, (WIDE, round(WIDE * size[1] / size[0])), interpolation=cv2.INTER_AREA)
        mask = cv2.morphologyEx((subtractor.apply(small) == 255).astype(np.uint8), cv2.MORPH_OPEN, shape)
        columns[slot] = np.concatenate([[0.0], np.cumsum(mask.sum(0, dtype=float))])
    scale = WIDE / size[0]
    rows = [(shown, window) for shown, window in rows[len(rows) // 10 :] if shown in columns]
    width = rows[0][1][2] * scale
    held = lambda column, left: float(np.interp(left + width, range(WIDE + 1), column) - np.interp(left, range(WIDE + 1), column))
    places = np.arange(0, WIDE - width + 1e-6, 2.0)
    every = np.array([[held(columns[shown], place) for place in places] for shown, _ in rows])
    total = sum(columns[shown][-1] for shown, _ in rows)
    middle = sum(held(columns[shown], (WIDE - width) / 2) for shown, _ in rows)
    ours = sum(held(columns[shown], window[0] * scale) for shown, window in rows)
    area = total / (len(rows) * WIDE * WIDE * size[1] / size[0])
    print(f"frames {len(rows)}, moving {100 * area:.2f} % of the picture")
    for name, sum_ in [("moves.action", ours), ("the middle", middle), ("the best fixed", every.sum(0).max()),
                       ("the best of every frame", every.max(1).sum())]:
        print(f"{name}: {100 * sum_ / total:.1f} %")


main()
