"""Reference spectra by scipy.signal.welch.

  python3 reference.py > reference.json    write them anew
  python3 reference.py --check             compare them with reference.json
"""

import json
import sys

import numpy as np
from scipy.signal import welch


def loads(n, rate, seed):
    """A swell of 12 s, a ship's own 80 s, noise; kN. A generator of our own, so that any language has it."""
    x, out = seed, []
    for i in range(n):
        x = (6364136223846793005 * x + 1442695040888963407) % 2**64
        t = i / rate
        out.append(round(200 + 30 * np.sin(2 * np.pi * t / 12) + 12 * np.sin(2 * np.pi * t / 80 + 1) + (x >> 40) / 2**24 * 10, 6))
    return out


def reference():
    cases = []
    for n, rate, length, seed in [(2048, 1.0, 512, 1), (1500, 1.0, 256, 2), (1000, 0.5, 101, 3), (64, 2.0, 64, 4)]:
        values = loads(n, rate, seed)
        hz, density = welch(values, fs=rate, window="hann", nperseg=length, noverlap=length // 2, detrend="constant", scaling="density")
        cases.append({"rate": rate, "length": length, "values": values, "hz": hz.tolist(), "density": density.tolist()})
    return cases


if __name__ == "__main__":
    now = reference()
    if "--check" not in sys.argv:
        json.dump(now, sys.stdout)
        print()
        sys.exit()
    with open(__file__.replace(".py", ".json")) as f:
        kept = json.load(f)
    for a, b in zip(now, kept, strict=True):
        np.testing.assert_allclose(a["density"], b["density"], rtol=1e-9, atol=1e-12)
        np.testing.assert_array_equal(a["values"], b["values"])
    print(f"{len(now)} spectra as in reference.json")
