"""OpenCV's CSRT and MIL trackers beside ours, on the marks of tests/tracking/people.csv. Run by scripts/trackers."""

import csv
import sys

import cv2
import numpy as np

frames, width, height, marks, every = sys.argv[1], *map(int, sys.argv[2:4]), sys.argv[4], int(sys.argv[5])
film = np.memmap(frames, dtype=np.uint8, mode="r").reshape(-1, height, width, 3)
people = {}
with open(marks, encoding="utf-8") as text:
    for line in csv.DictReader(row for row in text if not row.startswith("#")):
        box = tuple(int(line[side]) for side in ("x", "y", "width", "height")) if line["x"] else None
        people.setdefault(line["person"], {})[int(line["frame"])] = box


def overlap(one, two):
    """The common part of two boxes over what either has."""
    across = max(0, min(one[0] + one[2], two[0] + two[2]) - max(one[0], two[0]))
    down = max(0, min(one[1] + one[3], two[1] + two[3]) - max(one[1], two[1]))
    return across * down / (one[2] * one[3] + two[2] * two[3] - across * down)


def picture(frame):
    """A frame as OpenCV has it: blue first."""
    return np.ascontiguousarray(film[frame][:, :, ::-1])


cv2.setNumThreads(1)
for name, make in (("CSRT", cv2.legacy.TrackerCSRT_create), ("MIL", cv2.TrackerMIL_create)):
    cells, means = [], []
    for person in sorted(people):
        known = people[person]
        first, last = min(known), max(known)
        cv2.setRNGSeed(1)
        tracker, box = make(), known[first]
        tracker.init(picture(first), box)
        overlaps, silent = [], 0
        for frame in range(first + every, last + 1, every):
            seen, now = tracker.update(picture(frame))
            box = now if seen else box
            if known.get(frame):
                overlaps.append(overlap(known[frame], box))
                silent += seen and overlaps[-1] < 0.1
        means.append(np.mean(overlaps))
        cells.append(f"{means[-1]:.3f}" + (f" ({silent})" if silent else ""))
    print(f"| OpenCV's {name}, one box | {every} | {' | '.join(cells)} | **{np.mean(means):.3f}** |", flush=True)
